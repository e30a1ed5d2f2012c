-- Readings with a doubtful zero are left out where enough others remain (some of them are sound, and a correction would
-- shift those); where not, they stay in, corrected. A file of its own: rows deleted in the transaction that made them
-- have all others written once more.
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
