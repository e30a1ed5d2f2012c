-- Units in service that need a visit before anything can be said, by reason, and how many settle it with one or two.
SELECT
    reason,
    count(*) AS n_units,
    count(DISTINCT site_id) AS n_sites,
    count(*) FILTER (WHERE visits_needed <= 1) AS n_one_visit,
    count(*) FILTER (WHERE visits_needed = 2) AS n_two_visits
FROM site_attention
GROUP BY reason
ORDER BY list_position(['uncertain', 'too_few_visits', 'not_measured_lately', 'never_measured'], reason);
