-- What the last publication said of every unit in service. Reads the attached file `former`.
CREATE OR REPLACE TEMP TABLE state_former AS
SELECT
    s.equipment_id,
    s.mode,
    s.site_id,
    s.static_state,
    s.problem_side,
    s.level_inwc,
    p.today AS since
FROM former.site_static AS s, former.publication AS p
WHERE
    s.equipment_id NOT IN (
        SELECT e.equipment_id FROM former.equipment AS e, former.publication AS f
        WHERE e.retired_on <= f.today
    );
