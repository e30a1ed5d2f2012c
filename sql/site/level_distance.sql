-- How far each visit lies from the middle of its unit, brought to what it would be with many visits: the fleet's scatter is
-- taken from these.
CREATE OR REPLACE TEMP TABLE level_distance AS
SELECT
    v.unit_no,
    abs(v.tesp_inwc - c.middle_inwc) / sqrt(1 - 1.0 / c.n) AS distance_inwc
FROM level_visit AS v
INNER JOIN level_centre AS c USING (unit_no)
WHERE c.n >= getvariable('min_visits');
