-- The rate of visits without a zero before and after training, where both sides have enough visits to compare: changes
-- at the false-discovery rate of the run first.
SELECT
    t.technician_id,
    t.trained_on,
    t.n_before,
    t.rate_before,
    t.n_after,
    t.rate_after,
    t.change,
    t.change_lo,
    t.change_hi,
    t.since_training,
    t.q_value
FROM technician_training AS t
INNER JOIN technician_zeroing AS z ON t.technician_id = z.technician_id
WHERE
    t.since_training <> 'too_few_visits'
    AND z.n_visits >= (
        SELECT setting.value FROM setting
        WHERE setting.name = 'technician_min_visits'
    )
ORDER BY t.since_training = 'no_clear_change' ASC, t.change DESC, t.technician_id ASC
LIMIT getvariable('top');
