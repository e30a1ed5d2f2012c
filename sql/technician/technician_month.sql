-- Skipped zeroes of each technician month by month; the months are of the visits' local days.
CREATE OR REPLACE TABLE technician_month AS
SELECT
    v.technician_id,
    date_trunc('month', v.visited_on)::DATE AS month_on,
    count(*) AS n_visits,
    count(f.visit_id) AS n_not_zeroed,
    n_not_zeroed / n_visits AS skip_rate,
    wilson_lo(n_not_zeroed, n_visits) AS skip_lo,
    wilson_hi(n_not_zeroed, n_visits) AS skip_hi
FROM visit_static AS v
LEFT JOIN finding AS f ON v.visit_id = f.visit_id AND f.check_id = 'zero_not_recorded'
WHERE v.visited_on <= getvariable('today')
GROUP BY v.technician_id, month_on
ORDER BY v.technician_id, month_on;
