-- A first, robust look at each equipment and mode: median, and the median distance from it.
CREATE OR REPLACE TEMP TABLE level_centre AS
WITH middle AS (
    SELECT equipment_id, mode, count(*) AS n, median(tesp_inwc) AS middle_inwc
    FROM level_visit
    GROUP BY equipment_id, mode
)

SELECT
    m.equipment_id,
    m.mode,
    any_value(m.n) AS n,
    any_value(m.middle_inwc) AS middle_inwc,
    median(abs(v.tesp_inwc - m.middle_inwc)) AS mad_inwc
FROM middle AS m
INNER JOIN level_visit AS v USING (equipment_id, mode)
GROUP BY m.equipment_id, m.mode;
