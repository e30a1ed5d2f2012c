-- The rate of visits without a zero against the number of visits, one row a technician; at most points rows of n_all, those
-- who stand out first. Technicians below the minimum of visits are left out: one row without a name among named ones tells
-- whose it is.
WITH judged AS (
    SELECT
        *,
        count(*) OVER () AS n_all
    FROM technician_zeroing
    WHERE
        n_visits >= (
            SELECT setting.value FROM setting
            WHERE setting.name = 'technician_min_visits'
        )
    ORDER BY zeroing_state NOT IN ('skips_zero', 'zero_doubtful'), md5(technician_id)
    LIMIT getvariable('points')
)

SELECT
    technician_id,
    branch,
    n_visits,
    n_not_zeroed,
    skip_rate,
    skip_lo,
    skip_hi,
    funnel_hi,
    fleet_skip_rate,
    q_value,
    zeroing_state,
    n_all
FROM judged
ORDER BY n_visits, skip_rate, md5(technician_id);
