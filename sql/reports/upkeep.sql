-- Units that need upkeep, not ducts: over the rating as found, within it like new. One line a unit over its modes: the
-- mode with the largest gap leads, the other stands beside it. Largest gap first, top rows, with what was found at the
-- leading mode's valid visits, since ever.
WITH over_as_found AS (
    SELECT
        *,
        as_found_level_inwc - rated_tesp_inwc AS as_found_excess_inwc
    FROM site_static
    WHERE in_service AND static_state = 'within_rating' AND as_found_level_inwc > rated_tesp_inwc + 1e-9
    QUALIFY row_number() OVER (PARTITION BY equipment_id ORDER BY as_found_excess_inwc DESC, mode ASC) = 1
),

listed AS (
    SELECT
        *,
        count(*) OVER () AS n_upkeep
    FROM over_as_found
    ORDER BY as_found_excess_inwc DESC, equipment_id ASC
    LIMIT getvariable('top')
),

looked_at AS MATERIALIZED (
    SELECT
        visit_id,
        equipment_id,
        mode
    FROM visit
    WHERE equipment_id IN (SELECT listed.equipment_id FROM listed)
),

found AS MATERIALIZED (
    SELECT
        v.visit_id,
        v.equipment_id,
        v.mode,
        f.check_id
    FROM looked_at AS v
    INNER JOIN finding AS f ON v.visit_id = f.visit_id
    WHERE f.check_id IN ('filter_dirty', 'coil_dirty', 'blower_dirty', 'registers_closed')
),

-- Gathered in a list, so that DuckDB looks no unit up for it.
set_aside AS (
    SELECT unnest(list(visit_id)) AS visit_id
    FROM visit_static
    WHERE NOT valid
),

-- A check finds a visit once.
dirty AS (
    SELECT
        v.equipment_id,
        v.mode,
        count(*) FILTER (WHERE v.check_id = 'filter_dirty') AS n_filter_dirty,
        count(*) FILTER (WHERE v.check_id = 'coil_dirty') AS n_coil_dirty,
        count(*) FILTER (WHERE v.check_id = 'blower_dirty') AS n_blower_dirty,
        count(*) FILTER (WHERE v.check_id = 'registers_closed') AS n_registers_closed
    FROM found AS v
    WHERE v.visit_id NOT IN (SELECT set_aside.visit_id FROM set_aside)
    GROUP BY v.equipment_id, v.mode
)

SELECT
    listed.site_id,
    site.site_label[:200] AS site_label,
    listed.branch,
    listed.equipment_id,
    e.equipment_kind,
    listed.mode,
    listed.static_state,
    listed.as_found_level_inwc,
    listed.level_inwc,
    listed.level_lo_inwc,
    listed.level_hi_inwc,
    listed.rated_tesp_inwc,
    listed.as_found_excess_inwc,
    listed.prob_over_rated,
    listed.n_visits,
    listed.last_on,
    listed.n_valid AS n_valid_visits,
    coalesce(dirty.n_filter_dirty, 0) AS n_filter_dirty,
    coalesce(dirty.n_coil_dirty, 0) AS n_coil_dirty,
    coalesce(dirty.n_blower_dirty, 0) AS n_blower_dirty,
    coalesce(dirty.n_registers_closed, 0) AS n_registers_closed,
    o.mode AS other_mode,
    o.static_state AS other_state,
    o.level_inwc AS other_level_inwc,
    o.as_found_level_inwc AS other_as_found_level_inwc,
    listed.n_upkeep
FROM listed
LEFT JOIN site_static AS o ON listed.equipment_id = o.equipment_id AND listed.mode <> o.mode
LEFT JOIN equipment AS e ON listed.equipment_id = e.equipment_id
LEFT JOIN site ON listed.site_id = site.site_id
LEFT JOIN dirty ON listed.equipment_id = dirty.equipment_id AND listed.mode = dirty.mode
ORDER BY listed.as_found_excess_inwc DESC, listed.equipment_id ASC, listed.mode ASC;
