-- How many like-new visits do units have, and how many units still need more for a verdict?
SELECT
    least(n_visits, 10) AS like_new_visits,
    count(*) AS n_units,
    count(*) FILTER (WHERE static_state = 'too_few_visits') AS n_too_few,
    count(*) FILTER (WHERE static_state = 'uncertain') AS n_uncertain
FROM site_static
GROUP BY like_new_visits
ORDER BY like_new_visits;
