-- Units in service that need upkeep, not ducts: over the rating as found, within it like new. With what was found at their
-- valid visits since ever, and the equipment's other mode beside it, whatever its state.
CREATE OR REPLACE TABLE site_upkeep AS
WITH listed AS (
    SELECT
        s.*,
        n.site_label,
        s.as_found_level_inwc - s.rated_tesp_inwc AS as_found_excess_inwc,
        o.mode AS other_mode,
        o.static_state AS other_state,
        o.level_inwc AS other_level_inwc,
        o.as_found_level_inwc AS other_as_found_level_inwc
    FROM staging.unit_verdict AS s
    INNER JOIN staging.equipment_facts AS n ON s.equipment_no = n.equipment_no
    LEFT JOIN staging.unit_verdict AS o ON s.equipment_no = o.equipment_no AND s.mode <> o.mode
    WHERE s.needs_upkeep AND s.in_service
),

looked_at AS (
    SELECT
        v.visit_id,
        l.unit_no
    FROM staging.visit_measured AS v
    INNER JOIN listed AS l ON v.equipment_id = l.equipment_id AND v.mode = l.mode
    WHERE v.set_aside_because IS NULL
),

-- A check finds a visit once.
found AS (
    SELECT
        v.unit_no,
        count(*) FILTER (WHERE f.check_id = 'filter_dirty') AS n_filter_dirty,
        count(*) FILTER (WHERE f.check_id = 'coil_dirty') AS n_coil_dirty,
        count(*) FILTER (WHERE f.check_id = 'blower_dirty') AS n_blower_dirty,
        count(*) FILTER (WHERE f.check_id = 'registers_closed') AS n_registers_closed
    FROM looked_at AS v
    INNER JOIN finding AS f ON v.visit_id = f.visit_id
    WHERE f.check_id IN ('filter_dirty', 'coil_dirty', 'blower_dirty', 'registers_closed')
    GROUP BY v.unit_no
)

SELECT
    l.site_id,
    l.site_label,
    l.branch,
    l.equipment_id,
    l.equipment_kind,
    l.mode,
    l.as_found_excess_inwc,
    l.as_found_level_inwc,
    l.level_inwc,
    l.level_lo_inwc,
    l.level_hi_inwc,
    l.rated_tesp_inwc,
    l.prob_over_rated,
    l.n_visits,
    l.last_on,
    l.n_valid,
    coalesce(f.n_filter_dirty, 0) AS n_filter_dirty,
    coalesce(f.n_coil_dirty, 0) AS n_coil_dirty,
    coalesce(f.n_blower_dirty, 0) AS n_blower_dirty,
    coalesce(f.n_registers_closed, 0) AS n_registers_closed,
    l.other_mode,
    l.other_state,
    l.other_level_inwc,
    l.other_as_found_level_inwc
FROM listed AS l
LEFT JOIN found AS f ON l.unit_no = f.unit_no;
