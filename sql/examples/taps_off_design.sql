-- At which units was another blower tap in use than the equipment's own for that mode?
SELECT
    e.equipment_id,
    v.mode,
    CASE v.mode WHEN 'cooling' THEN e.cooling_tap ELSE e.heating_tap END AS design_tap,
    v.tap AS tap_found,
    count(*) AS n_visits,
    max(v.visited_on) AS last_found_on
FROM visit AS v
INNER JOIN equipment AS e USING (equipment_id)
WHERE v.tap <> design_tap
GROUP BY e.equipment_id, v.mode, design_tap, tap_found
ORDER BY n_visits DESC, e.equipment_id, v.mode, tap_found
LIMIT 50;
