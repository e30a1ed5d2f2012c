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
FROM former.site_static AS s
INNER JOIN former.equipment AS e ON s.equipment_id = e.equipment_id
INNER JOIN former.publication AS p ON e.retired_on IS NULL OR e.retired_on > p.today;
