-- Skipped zeroes before and after a technician's last training, with Newcombe's interval of the difference (1998,
-- method 10, from the two Wilson intervals; from memory).
CREATE OR REPLACE TABLE technician_training AS
WITH rated AS (
    SELECT
        *,
        n_not_zeroed_before / nullif(n_before, 0) AS rate_before,
        n_not_zeroed_after / nullif(n_after, 0) AS rate_after,
        wilson_lo(n_not_zeroed_before, n_before) AS lo_before,
        wilson_hi(n_not_zeroed_before, n_before) AS hi_before,
        wilson_lo(n_not_zeroed_after, n_after) AS lo_after,
        wilson_hi(n_not_zeroed_after, n_after) AS hi_after
    FROM training_count
)

SELECT
    technician_id,
    trained_on,
    n_before,
    n_not_zeroed_before,
    rate_before,
    n_after,
    n_not_zeroed_after,
    rate_after,
    rate_after - rate_before AS change,
    change - sqrt(pow(rate_after - lo_after, 2) + pow(hi_before - rate_before, 2)) AS change_lo,
    change + sqrt(pow(hi_after - rate_after, 2) + pow(rate_before - lo_before, 2)) AS change_hi,
    CASE
        WHEN n_before < getvariable('technician_min_visits') OR n_after < getvariable('technician_min_visits')
            THEN 'too_few_visits'
        WHEN change_hi < 0 THEN 'better'
        WHEN change_lo > 0 THEN 'worse'
        ELSE 'no_clear_change'
    END AS since_training
FROM rated
ORDER BY technician_id;
