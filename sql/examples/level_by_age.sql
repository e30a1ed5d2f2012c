-- Do older units sit higher against their rating?
SELECT
    date_diff('year', e.installed_on, p.today) // 5 * 5 AS age_from_years,
    count(*) AS n_units,
    median(s.level_inwc / s.rated_tesp_inwc) AS level_to_rating,
    count(*) FILTER (WHERE s.static_state = 'chronic') / n_units AS chronic_share
FROM site_static AS s
INNER JOIN equipment AS e USING (equipment_id)
CROSS JOIN publication AS p
WHERE s.static_state <> 'too_few_visits' AND (e.retired_on IS NULL OR e.retired_on > p.today)
GROUP BY age_from_years
ORDER BY age_from_years;
