-- What share of all visits each check takes, by consequence; a check that found nothing has its row of zeroes.
SELECT
    c.check_id,
    c.title,
    c.consequence,
    c.why,
    count(DISTINCT f.visit_id) AS n_visits,
    count(DISTINCT f.visit_id) / nullif((SELECT count(*) FROM visit_static), 0) AS share,
    count(DISTINCT f.visit_id) FILTER (WHERE f.consequence = 'set_aside') AS n_set_aside,
    count(DISTINCT f.visit_id) FILTER (WHERE f.consequence = 'repaired') AS n_repaired,
    count(DISTINCT f.visit_id) FILTER (WHERE f.consequence = 'not_like_new') AS n_not_like_new,
    count(DISTINCT f.visit_id) FILTER (WHERE f.consequence = 'note') AS n_note
FROM check_catalog AS c
LEFT JOIN finding AS f ON c.check_id = f.check_id
GROUP BY ALL
ORDER BY n_visits DESC, c.check_id ASC;
