-- The visits that a level and a trend rest on: comparable ones since the last work on that equipment. Readings with a
-- doubtful zero are left out where enough others remain (some of them are sound, and a correction would shift those);
-- where not, they stay in, corrected.
CREATE OR REPLACE TEMP TABLE level_visit AS
SELECT *
FROM comparable_visit
WHERE since_last_work
QUALIFY
    NOT offset_corrected
    OR count(*) FILTER (WHERE NOT offset_corrected) OVER (PARTITION BY equipment_id, mode) < getvariable('min_visits');
