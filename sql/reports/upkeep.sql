-- Units that need upkeep, not ducts: over the rating as found, within it like new. One line a unit over its modes: the
-- mode with the largest gap leads, the other stands beside it. Largest gap first, top rows, with what was found at the
-- leading mode's valid visits, since ever.
WITH lines AS (
    SELECT *
    FROM site_upkeep
    QUALIFY row_number() OVER (PARTITION BY equipment_id ORDER BY as_found_excess_inwc DESC, mode ASC) = 1
)

SELECT
    site_id,
    site_label[:200] AS site_label,
    branch,
    equipment_id,
    equipment_kind,
    mode,
    'within_rating' AS static_state,
    as_found_level_inwc,
    level_inwc,
    level_lo_inwc,
    level_hi_inwc,
    rated_tesp_inwc,
    as_found_excess_inwc,
    prob_over_rated,
    n_visits,
    last_on,
    n_valid AS n_valid_visits,
    n_filter_dirty,
    n_coil_dirty,
    n_blower_dirty,
    n_registers_closed,
    other_mode,
    other_state,
    other_level_inwc,
    other_as_found_level_inwc,
    count(*) OVER () AS n_upkeep
FROM lines
ORDER BY as_found_excess_inwc DESC, equipment_id ASC, mode ASC
LIMIT getvariable('top');
