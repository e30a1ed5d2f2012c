-- The visits that a level and a trend rest on: comparable ones since the last work on that equipment, unit by unit in
-- time. Those with a doubtful zero that other visits make needless are left out afterwards (level_visit_doubtful.sql).
CREATE OR REPLACE TEMP TABLE level_visit AS
SELECT * EXCLUDE (since_last_work)
FROM comparable_visit
WHERE since_last_work
ORDER BY unit_no, at_year;
