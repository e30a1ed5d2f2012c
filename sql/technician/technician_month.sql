-- Skipped zeroes of each technician month by month.
CREATE OR REPLACE TABLE technician_month AS
SELECT
    technician_id,
    month_on,
    n_visits,
    n_not_zeroed,
    n_not_zeroed / n_visits AS skip_rate,
    wilson_lo(n_not_zeroed, n_visits) AS skip_lo,
    wilson_hi(n_not_zeroed, n_visits) AS skip_hi
FROM month_count
ORDER BY technician_id, month_on;
