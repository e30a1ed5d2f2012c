-- Are winter readings lower? Like-new readings less their unit's own level, month by month and mode by mode.
SELECT
    month(v.visited_on) AS month_no,
    v.mode,
    count(*) AS n_visits,
    median(v.tesp_inwc - s.level_inwc) AS off_level_inwc
FROM visit_static AS v
INNER JOIN site_static AS s ON v.equipment_id = s.equipment_id AND v.mode = s.mode
WHERE v.like_new AND v.since_last_work AND s.level_inwc IS NOT NULL
GROUP BY month_no, v.mode
ORDER BY month_no, v.mode;
