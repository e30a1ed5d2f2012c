-- The visits that a level and a trend rest on: comparable ones since the last work on that equipment, unit by unit in
-- time. Readings with a doubtful zero are left out where enough others remain (some of them are sound, and a correction
-- would shift those); where not, they stay in, corrected.
CREATE OR REPLACE TEMP TABLE level_visit AS
SELECT * EXCLUDE (since_last_work)
FROM comparable_visit
WHERE since_last_work
ORDER BY unit_no, at_year;

DELETE FROM level_visit
WHERE
    offset_corrected
    AND unit_no IN (
        SELECT unit_no
        FROM level_visit
        WHERE NOT offset_corrected AND unit_no IN (SELECT c.unit_no FROM level_visit AS c WHERE c.offset_corrected)
        GROUP BY unit_no
        HAVING count(*) >= getvariable('min_visits')
    );
