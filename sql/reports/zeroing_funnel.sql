-- The rate of visits without a zero against the number of visits, one row a technician; at most points rows.
-- Below the minimum of visits a row carries no name.
SELECT
    CASE
        WHEN n_visits >= (
            SELECT setting.value FROM setting
            WHERE setting.name = 'technician_min_visits'
        ) THEN technician_id
    END
        AS technician_id,
    CASE
        WHEN n_visits >= (
            SELECT setting.value FROM setting
            WHERE setting.name = 'technician_min_visits'
        ) THEN branch
    END
        AS branch,
    n_visits,
    n_not_zeroed,
    skip_rate,
    skip_lo,
    skip_hi,
    funnel_hi,
    fleet_skip_rate,
    q_value,
    zeroing_state
FROM technician_zeroing
ORDER BY n_visits, skip_rate, md5(technician_zeroing.technician_id)
LIMIT getvariable('points');
