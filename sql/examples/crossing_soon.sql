-- Which units are still within their rating, but rise and will cross it within three years?
SELECT
    s.branch,
    t.site_id,
    t.equipment_id,
    t.mode,
    t.n_visits,
    t.slope_inwc_per_year,
    t.slope_lo,
    t.slope_hi,
    s.level_inwc,
    s.rated_tesp_inwc,
    t.rated_crossing_on
FROM site_trend AS t
INNER JOIN site_static AS s ON t.equipment_id = s.equipment_id AND t.mode = s.mode
CROSS JOIN publication AS p
WHERE s.in_service AND t.trend = 'rising' AND t.rated_crossing_on BETWEEN p.today AND p.today + INTERVAL 3 YEAR
ORDER BY t.rated_crossing_on, t.equipment_id, t.mode
LIMIT 50;
