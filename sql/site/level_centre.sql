-- A first, robust look at each unit: how many visits from when to when, their median, and the median distance
-- from it.
CREATE OR REPLACE TEMP TABLE level_centre AS
WITH middle AS (
    SELECT
        unit_no,
        count(*) AS n,
        min(visited_on) AS first_on,
        max(visited_on) AS last_on,
        median(tesp_inwc) AS middle_inwc
    FROM level_visit
    GROUP BY unit_no
),

spread AS (
    SELECT v.unit_no, median(abs(v.tesp_inwc - m.middle_inwc)) AS mad_inwc
    FROM level_visit AS v
    INNER JOIN middle AS m USING (unit_no)
    GROUP BY v.unit_no
)

SELECT m.*, s.mad_inwc
FROM middle AS m
INNER JOIN spread AS s USING (unit_no);
