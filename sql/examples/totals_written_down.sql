-- How often does the total that was written down agree with the readings, and how far off is it else? A reason to coach,
-- never proof of fault: look at n and the interval.
SELECT
    technician_id,
    count(*) AS n_totals,
    count(*) FILTER (
        WHERE abs(to_inwc(reported_tesp, pressure_unit) - tesp(return_recorded_inwc, supply_recorded_inwc)) <= 0.02
    ) AS n_agree,
    n_agree / n_totals AS share,
    wilson_lo(n_agree, n_totals) AS share_lo,
    wilson_hi(n_agree, n_totals) AS share_hi,
    quantile_cont(
        abs(to_inwc(reported_tesp, pressure_unit) - tesp(return_recorded_inwc, supply_recorded_inwc)), 0.95
    ) AS off_at_most_inwc
FROM (
    SELECT
        *,
        to_inwc(return_recorded, pressure_unit) AS return_recorded_inwc,
        to_inwc(supply_recorded, pressure_unit) AS supply_recorded_inwc
    FROM visit_static
    WHERE reported_tesp IS NOT NULL AND repairs IS NULL
)
GROUP BY technician_id
HAVING n_totals >= 20
ORDER BY share, technician_id
LIMIT 50;
