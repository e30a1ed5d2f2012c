-- How a technician's visits since the last training compare with the fleet's rate of visits without a zero, with Wilson's
-- 95 % interval: no longer above it where the interval reaches down to it. A row where visits came before the training.
SELECT
    t.technician_id,
    t.n_after AS n_since,
    t.n_not_zeroed_after AS n_not_zeroed_since,
    t.rate_after AS since_rate,
    wilson_lo(t.n_not_zeroed_after, t.n_after) AS since_rate_lo,
    wilson_hi(t.n_not_zeroed_after, t.n_after) AS since_rate_hi,
    CASE
        WHEN
            t.n_after < (
                SELECT setting.value FROM setting
                WHERE setting.name = 'technician_min_visits'
            ) THEN 'too_few_visits'
        WHEN since_rate_lo <= z.fleet_skip_rate THEN 'no_longer_above'
        WHEN since_rate_lo > z.fleet_skip_rate THEN 'still_above'
    END AS since_state
FROM technician_training AS t
INNER JOIN technician_zeroing AS z ON t.technician_id = z.technician_id
WHERE t.n_before > 0
