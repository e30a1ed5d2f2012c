-- What changed in every unit and mode since the last publication that rested on other files. Empty where there was none.
-- Worse and better: the level moved by a material amount, and the old level lies outside the new one's 95 % interval.
-- Units are looked at where `state_here` and `state_former` have them. Stored is only what differs from then; a view puts it together with what is the same, in the publication too.
CREATE SCHEMA IF NOT EXISTS staging;

-- The day of the publication that is compared with; without a day there is none.
CREATE OR REPLACE TABLE staging.compared_since AS
FROM state_since;

CREATE OR REPLACE TABLE staging.site_differs AS
WITH here AS (
    SELECT
        site_id,
        equipment_id,
        mode,
        static_state,
        problem_side,
        level_inwc,
        level_lo_inwc,
        level_hi_inwc
    FROM state_here
    WHERE equipment_id NOT IN (SELECT e.equipment_id FROM equipment AS e WHERE e.retired_on <= getvariable('today'))
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
    WHERE
        h.static_state IS DISTINCT FROM f.static_state
        OR h.problem_side IS DISTINCT FROM f.problem_side
        OR h.level_inwc IS DISTINCT FROM f.level_inwc
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
    level_change_inwc
FROM compared
WHERE (SELECT c.since FROM staging.compared_since AS c) IS NOT NULL
ORDER BY site_id, equipment_id, mode;

CREATE OR REPLACE VIEW site_change AS
WITH same AS (
    SELECT
        s.site_id,
        s.equipment_id,
        s.mode,
        'same' AS change,
        s.static_state AS was_state,
        s.static_state AS state,
        s.problem_side AS was_side,
        s.problem_side AS side,
        s.level_inwc AS was_level_inwc,
        s.level_inwc,
        s.level_inwc - s.level_inwc AS level_change_inwc
    FROM site_static AS s
    ANTI JOIN staging.site_differs AS d ON s.equipment_id = d.equipment_id AND s.mode = d.mode
    WHERE
        s.equipment_id NOT IN (
            SELECT e.equipment_id FROM equipment AS e, publication AS p WHERE e.retired_on <= p.today
        )
)

SELECT
    compared.*,
    c.since
FROM (
    FROM staging.site_differs
    UNION ALL
    FROM same
) AS compared, staging.compared_since AS c
WHERE c.since IS NOT NULL;
