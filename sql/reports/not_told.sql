-- What cannot be said: units in service by state, with the visits they have. Rows: uncertain, too_few_visits.
SELECT
    s.static_state,
    count(*) AS n_units,
    count(DISTINCT s.site_id) AS n_sites,
    median(s.n_visits) AS median_visits,
    count(*) FILTER (WHERE s.last_on < publication.today - INTERVAL 2 YEAR) AS n_not_seen_for_two_years
FROM site_static AS s
INNER JOIN equipment AS e ON s.equipment_id = e.equipment_id
INNER JOIN publication ON e.retired_on IS NULL OR e.retired_on > publication.today
WHERE s.static_state IN ('uncertain', 'too_few_visits')
GROUP BY ALL
ORDER BY s.static_state DESC;
