-- What would one limit of 0.6 in. w.c. for every unit do, against each maker's rating? (Levels taken as normal.)
SELECT
    prob_over(level_inwc, level_se_inwc, rated_tesp_inwc) >= 0.95 AS over_rating,
    prob_over(level_inwc, level_se_inwc, 0.6) >= 0.95 AS over_06,
    count(*) AS n_units,
    min(rated_tesp_inwc) AS lowest_rating_inwc,
    max(rated_tesp_inwc) AS highest_rating_inwc
FROM site_static
WHERE static_state <> 'too_few_visits'
GROUP BY over_rating, over_06
ORDER BY over_rating DESC, over_06 DESC;
