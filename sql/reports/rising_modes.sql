-- Of chosen units (units) those whose static rises: what the line of each judged mode says at its last visit, and when it
-- passes the rating if the rise goes on (shared/rising_line.sql). passes: 'over' (the level is over the rating already),
-- 'passed' (its line is, by the reference day), 'will_pass', or 'not_told' (a century off).
SELECT *
FROM memory.rising_line
WHERE equipment_id IN (SELECT unnest(getvariable('units')))
ORDER BY equipment_id ASC, mode ASC;
