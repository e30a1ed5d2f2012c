-- How far each visit lies from its equipment's robust line (one slope, a level a mode), and the same brought to what it
-- would be with many visits.
CREATE OR REPLACE TEMP TABLE trend_residual AS
WITH turned AS (
    SELECT
        v.* EXCLUDE (visited_on, restriction_inwc, offset_corrected),
        t.n_visits,
        t.n_modes,
        v.tesp_inwc - t.slope * v.at_year AS level_inwc
    FROM series_visit AS v
    INNER JOIN trend_start AS t USING (equipment_no)
),

middle AS (
    SELECT unit_no, median(level_inwc) AS middle_inwc
    FROM turned
    GROUP BY unit_no
)

SELECT
    t.* EXCLUDE (level_inwc),
    t.level_inwc - m.middle_inwc AS off_line,
    abs(off_line) / sqrt(1 - (t.n_modes + 1.0) / t.n_visits) AS distance_inwc
FROM turned AS t
INNER JOIN middle AS m USING (unit_no);
