-- Repairs by check: how many visits, and of how many in all.
SELECT
    f.check_id,
    coalesce(c.title, f.check_id) AS title,
    count(*) AS n_visits
FROM finding AS f
LEFT JOIN check_catalog AS c ON f.check_id = c.check_id
WHERE f.consequence = 'repaired'
GROUP BY f.check_id, c.title
ORDER BY n_visits DESC, f.check_id ASC;
