-- What is known of chosen units (units): one row a unit and mode, for the site detail and the site sheet. With sheets
-- (equipment_id.mode) only those; an empty list of sheets means all.
-- Few rows of each large table before they are joined.
WITH sheets AS (
    SELECT *
    FROM site_static
    WHERE
        equipment_id IN (SELECT unnest(getvariable('units')))
        AND (len(getvariable('sheets')) = 0 OR equipment_id || '.' || mode IN (SELECT unnest(getvariable('sheets'))))
),

units AS (
    SELECT *
    FROM equipment
    WHERE equipment_id IN (SELECT unnest(getvariable('units')))
),

sites AS (
    SELECT *
    FROM site
    WHERE site_id IN (SELECT units.site_id FROM units)
),

ranks AS (
    SELECT *
    FROM site_priority
    WHERE equipment_id IN (SELECT unnest(getvariable('units')))
),

trends AS (
    SELECT *
    FROM site_trend
    WHERE equipment_id IN (SELECT unnest(getvariable('units')))
),

-- One row, whatever is set.
set_to AS (
    SELECT
        max(setting.value) FILTER (WHERE setting.name = 'change_material_inwc') AS change_material_inwc,
        max(setting.value) FILTER (WHERE setting.name = 'tariff_per_kwh') AS tariff_value,
        coalesce(bool_or(setting.name = 'tariff_per_kwh' AND setting.source LIKE 'set in %'), FALSE) AS is_own_tariff
    FROM setting
),

both_modes AS (
    SELECT *
    FROM equipment_trend
    WHERE equipment_id IN (SELECT unnest(getvariable('units')))
)

SELECT
    s.site_id,
    site.site_label[:200] AS site_label,
    s.branch,
    site.elevation_ft,
    s.equipment_id,
    e.equipment_kind,
    e.nominal_tons,
    e.motor_kind,
    e.installed_on,
    e.retired_on,
    e.filter_in_rating,
    e.coil_in_rating,
    s.mode,
    s.static_state,
    s.problem_side,
    s.prob_side,
    s.level_inwc,
    s.level_lo_inwc,
    s.level_hi_inwc,
    s.as_found_level_inwc,
    s.rated_tesp_inwc,
    s.prob_over_rated,
    s.expected_excess_inwc,
    s.return_level_inwc,
    s.supply_level_inwc,
    s.airflow_ratio,
    s.n_visits,
    s.n_offset_corrected,
    s.first_on,
    s.last_on,
    p.rank,
    p.rank_in_side,
    p.rank_lo,
    p.rank_hi,
    p.airflow_shortfall_cfm,
    p.extra_power_w,
    p.extra_cost_per_year,
    p.check_first,
    t.trend,
    t.slope_inwc_per_year,
    t.slope_lo,
    t.slope_hi,
    b.trend AS unit_trend,
    b.n_visits > s.n_visits AS is_of_both_modes,
    b.slope_inwc_per_year AS unit_slope_inwc_per_year,
    b.slope_lo AS unit_slope_lo,
    b.slope_hi AS unit_slope_hi,
    -- Steady, although the interval reaches as far as what counts as a change: too few days to tell.
    t.trend = 'steady' AND (t.slope_hi > set_to.change_material_inwc OR t.slope_lo < -set_to.change_material_inwc) AS is_open,
    b.trend = 'steady'
    AND (b.slope_hi > set_to.change_material_inwc OR b.slope_lo < -set_to.change_material_inwc) AS unit_is_open,
    set_to.*
FROM sheets AS s
CROSS JOIN set_to
LEFT JOIN sites AS site ON s.site_id = site.site_id
LEFT JOIN units AS e ON s.equipment_id = e.equipment_id
LEFT JOIN ranks AS p ON s.equipment_id = p.equipment_id AND s.mode = p.mode
LEFT JOIN trends AS t ON s.equipment_id = t.equipment_id AND s.mode = t.mode
LEFT JOIN both_modes AS b ON s.equipment_id = b.equipment_id
ORDER BY p.rank NULLS LAST, s.equipment_id, s.mode;
