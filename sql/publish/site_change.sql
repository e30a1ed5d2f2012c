-- What changed in every unit and mode since the last publication that rested on other files. Empty where there was none.
-- Worse and better: the level moved by a material amount, and the old level lies outside the new one's 95 % interval.
CREATE OR REPLACE TABLE site_change AS
WITH here AS (
    SELECT s.*
    FROM site_static AS s
    INNER JOIN equipment AS e ON s.equipment_id = e.equipment_id
    WHERE e.retired_on IS NULL OR e.retired_on > getvariable('today')
),

compared AS (
    SELECT
        coalesce(h.site_id, f.site_id) AS site_id,
        coalesce(h.equipment_id, f.equipment_id) AS equipment_id,
        coalesce(h.mode, f.mode) AS mode,
        f.static_state AS was_state,
        h.static_state AS state,
        f.problem_side AS was_side,
        h.problem_side AS side,
        f.level_inwc AS was_level_inwc,
        h.level_inwc,
        h.level_inwc - f.level_inwc AS level_change_inwc,
        exceeds(abs(h.level_inwc - f.level_inwc), getvariable('change_material_inwc'))
        AND f.level_inwc NOT BETWEEN h.level_lo_inwc AND h.level_hi_inwc AS moved
    FROM here AS h
    FULL JOIN state_former AS f ON h.equipment_id = f.equipment_id AND h.mode = f.mode
)

SELECT
    site_id,
    equipment_id,
    mode,
    CASE
        WHEN state IS NULL THEN 'gone'
        WHEN state = 'chronic' AND coalesce(was_state, '') <> 'chronic' THEN 'new_chronic'
        WHEN was_state = 'chronic' AND state = 'within_rating' THEN 'resolved'
        WHEN was_state = 'chronic' AND state <> 'chronic' THEN 'to_confirm'
        WHEN was_state IS NULL THEN 'first_seen'
        WHEN moved AND level_change_inwc > 0 THEN 'worse'
        WHEN moved THEN 'better'
        ELSE 'same'
    END AS change,
    was_state,
    state,
    was_side,
    side,
    was_level_inwc,
    level_inwc,
    level_change_inwc,
    (SELECT min(state_former.since) FROM state_former) AS since
FROM compared
WHERE (SELECT count(*) FROM state_former) > 0
ORDER BY site_id, equipment_id, mode;
