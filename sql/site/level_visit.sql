-- The visits that a level and a trend rest on: comparable ones since the last work on that equipment.
CREATE OR REPLACE TABLE level_visit AS
SELECT * FROM comparable_visit
WHERE since_last_work;
