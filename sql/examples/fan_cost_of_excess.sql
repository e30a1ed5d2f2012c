-- What does the excess cost in fan power a year, branch by branch, at the settings' hours and tariff?
WITH rate AS (
    SELECT
        max(value) FILTER (WHERE name = 'fan_hours_cooling') AS hours_cooling,
        max(value) FILTER (WHERE name = 'fan_hours_heating') AS hours_heating,
        max(value) FILTER (WHERE name = 'tariff_per_kwh') AS tariff
    FROM setting
)

SELECT
    p.branch,
    count(*) AS n_units,
    sum(greatest(p.extra_power_w, 0)) AS extra_power_w,
    sum(
        greatest(p.extra_power_w, 0) / 1000 * r.tariff
        * CASE p.mode WHEN 'cooling' THEN r.hours_cooling ELSE r.hours_heating END
    ) AS extra_cost_per_year
FROM site_priority AS p
CROSS JOIN rate AS r
WHERE p.static_state = 'chronic' AND p.extra_power_w IS NOT NULL
GROUP BY p.branch
ORDER BY extra_cost_per_year DESC, p.branch;
