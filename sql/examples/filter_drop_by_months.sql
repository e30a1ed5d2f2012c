-- How does the filter drop grow with the months since the filter was changed?
WITH change AS (
    SELECT equipment_id, done_on
    FROM work
    WHERE work_kind = 'filter_changed'
)

SELECT
    date_diff('day', c.done_on, v.visited_on) // 30 AS months_since_change,
    count(*) AS n_visits,
    median(v.filter_drop_inwc) AS filter_drop_inwc
FROM visit_static AS v
ASOF INNER JOIN change AS c ON v.equipment_id = c.equipment_id AND v.visited_on >= c.done_on
WHERE v.filter_drop_inwc IS NOT NULL AND v.valid
GROUP BY months_since_change
ORDER BY months_since_change;
