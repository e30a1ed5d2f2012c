-- Which units in service have not been visited for a year, the longest first?
SELECT
    t.branch,
    e.site_id,
    e.equipment_id,
    max(v.visited_on) AS last_visit_on,
    date_diff('day', last_visit_on, p.today) AS days_ago
FROM equipment AS e
INNER JOIN site AS t USING (site_id)
CROSS JOIN publication AS p
LEFT JOIN visit_static AS v ON e.equipment_id = v.equipment_id AND v.visited_on <= p.today
WHERE e.retired_on IS NULL OR e.retired_on > p.today
GROUP BY t.branch, e.site_id, e.equipment_id, p.today
HAVING last_visit_on IS NULL OR days_ago > 365
ORDER BY days_ago DESC NULLS FIRST, e.equipment_id
LIMIT 50;
