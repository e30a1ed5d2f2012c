-- Which instruments were calibrated more than a year ago, and how many visits have they made since?
SELECT
    i.instrument_id,
    i.calibrated_on,
    date_diff('day', i.calibrated_on, p.today) AS days_ago,
    count(v.visit_id) AS n_visits_since
FROM instrument AS i
CROSS JOIN publication AS p
LEFT JOIN visit_static AS v ON i.instrument_id = v.instrument_id AND v.visited_on > i.calibrated_on
WHERE days_ago > 365 OR i.calibrated_on IS NULL
GROUP BY i.instrument_id, i.calibrated_on, p.today
ORDER BY i.calibrated_on NULLS FIRST, i.instrument_id
LIMIT 50;
