-- What the last publication said of every unit in service, and its day. Reads the attached file `former`, of its units
-- those in `state_then`.
CREATE OR REPLACE TEMP TABLE state_former AS
SELECT
    s.equipment_id,
    s.mode,
    s.site_id,
    s.static_state,
    s.problem_side,
    s.level_inwc,
    p.today AS since
FROM state_then AS s, former.publication AS p
WHERE
    s.equipment_id NOT IN (
        SELECT e.equipment_id FROM former.equipment AS e, former.publication AS f
        WHERE e.retired_on <= f.today
    );

CREATE OR REPLACE TEMP TABLE state_since AS
SELECT max(p.today) AS since
FROM former.publication AS p
WHERE EXISTS (
    SELECT s.equipment_id FROM former.site_static AS s
    WHERE
        s.equipment_id NOT IN (
            SELECT e.equipment_id FROM former.equipment AS e, former.publication AS f
            WHERE e.retired_on <= f.today
        )
);
