-- Skipped zeroes of each technician month by month; the months are of the visits' local days.
CREATE OR REPLACE TABLE technician_month AS
WITH visits AS (
    SELECT technician_id, date_trunc('month', visited_on)::DATE AS month_on, count(*) AS n_visits
    FROM staging.visit_measured
    WHERE visited_on <= getvariable('today')
    GROUP BY technician_id, month_on
),

found AS (
    SELECT technician_id, date_trunc('month', visited_on)::DATE AS month_on, count(*) AS n_found
    FROM technician_finding
    WHERE check_id = 'zero_not_recorded' AND visited_on <= getvariable('today')
    GROUP BY technician_id, month_on
)

SELECT
    v.technician_id,
    v.month_on,
    v.n_visits,
    coalesce(f.n_found, 0) AS n_not_zeroed,
    n_not_zeroed / v.n_visits AS skip_rate,
    wilson_lo(n_not_zeroed, v.n_visits) AS skip_lo,
    wilson_hi(n_not_zeroed, v.n_visits) AS skip_hi
FROM visits AS v
LEFT JOIN found AS f USING (technician_id, month_on)
ORDER BY v.technician_id, v.month_on;
