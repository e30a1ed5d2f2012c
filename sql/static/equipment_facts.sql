-- What the stages know of each piece of equipment, by its number and its site's (numbered.sql), joined once to the
-- visits: dates and right ports (data contract, "The right ports") for the repairs; budgets of both sides (magnitudes,
-- in. w.c.) that sum to the rated TESP, design airflows, taps, and the air's density at its site. And the days of works
-- that start a new stretch of visits (data contract, "Since the last work").
-- Ids are written down as they are (visit_measured.sql says why).
CREATE OR REPLACE TABLE staging.equipment_facts ( -- noqa: PRS
    equipment_id VARCHAR USING COMPRESSION uncompressed,
    equipment_no INTEGER,
    site_id VARCHAR USING COMPRESSION uncompressed,
    site_no INTEGER,
    site_label VARCHAR USING COMPRESSION uncompressed,
    equipment_kind VARCHAR,
    installed_on DATE,
    retired_on DATE,
    rated_tesp_inwc DOUBLE,
    right_return_port VARCHAR,
    right_supply_port VARCHAR,
    return_budget_inwc DOUBLE,
    supply_budget_inwc DOUBLE,
    filter_allowance_inwc DOUBLE,
    coil_allowance_inwc DOUBLE,
    design_cooling_cfm DOUBLE,
    design_heating_cfm DOUBLE,
    cooling_tap VARCHAR,
    heating_tap VARCHAR,
    blower_table_id VARCHAR,
    motor_kind VARCHAR,
    nominal_tons DOUBLE,
    density_ratio DOUBLE,
    branch VARCHAR,
    first_work_on DATE,
    last_work_on DATE,
    n_work_days BIGINT,
    work_days_between DATE[]
);

INSERT INTO staging.equipment_facts BY NAME
WITH worked AS (
    SELECT
        equipment_id,
        list_sort(list(DISTINCT done_on)) AS work_days
    FROM work
    WHERE starts_stretch(work_kind) AND done_on <= getvariable('today')
    GROUP BY equipment_id
)

SELECT
    e.equipment_id,
    n.equipment_no,
    e.site_id,
    m.site_no,
    s.site_label,
    e.equipment_kind,
    e.installed_on,
    e.retired_on,
    e.rated_tesp_inwc,
    CASE WHEN e.filter_in_rating THEN 'before_filter' ELSE 'after_filter' END AS right_return_port,
    CASE WHEN e.coil_in_rating THEN 'after_coil' ELSE 'before_coil' END AS right_supply_port,
    return_budget(e.rated_tesp_inwc, e.design_return_inwc, e.design_supply_inwc) AS return_budget_inwc,
    e.rated_tesp_inwc - return_budget_inwc AS supply_budget_inwc,
    -- What filter and coil may take of the rating: settings, at most their side's budget.
    least(getvariable('filter_allowance_inwc'), return_budget_inwc) AS filter_allowance_inwc,
    least(getvariable('coil_allowance_inwc'), supply_budget_inwc) AS coil_allowance_inwc,
    e.design_cooling_cfm,
    e.design_heating_cfm,
    e.cooling_tap,
    e.heating_tap,
    e.blower_table_id,
    e.motor_kind,
    e.nominal_tons,
    density_ratio(coalesce(s.elevation_ft, 0)) AS density_ratio,
    s.branch,
    w.work_days[1] AS first_work_on,
    w.work_days[-1] AS last_work_on,
    len(w.work_days) AS n_work_days,
    -- Only where there are any: lists are dear to carry to every visit.
    CASE WHEN len(w.work_days) > 2 THEN w.work_days[2:-2] END AS work_days_between
FROM equipment AS e
INNER JOIN staging.equipment_number AS n ON e.equipment_id = n.equipment_id
INNER JOIN site AS s ON e.site_id = s.site_id
INNER JOIN site_number AS m ON e.site_id = m.site_id
LEFT JOIN worked AS w ON e.equipment_id = w.equipment_id;
