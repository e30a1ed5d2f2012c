-- Habits that a word may mend: checks that find a technician's visits more often than the fleet's at the false-discovery
-- rate of the run, with the 95 % interval. Zeroing has its own list. Smallest q first, top rows.
SELECT
    p.technician_id,
    p.check_id,
    coalesce(c.title, p.check_id) AS title,
    p.n_found,
    p.n_visits,
    p.rate,
    p.rate_lo,
    p.rate_hi,
    p.fleet_rate,
    p.q_value,
    count(*) OVER () AS n_habits
FROM practice_rate AS p
LEFT JOIN check_catalog AS c ON p.check_id = c.check_id
WHERE
    p.practice_state = 'above_fleet'
    AND p.check_id <> 'zero_not_recorded'
    AND p.n_visits >= (
        SELECT setting.value FROM setting
        WHERE setting.name = 'technician_min_visits'
    )
ORDER BY p.q_value ASC, p.rate DESC, p.technician_id ASC, p.check_id ASC
LIMIT getvariable('top');
