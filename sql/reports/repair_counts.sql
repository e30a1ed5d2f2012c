-- Repairs by check: how many visits, and of how many in all.
SELECT
    f.check_id,
    coalesce(c.title, f.check_id) AS title,
    sum(f.n_found)::BIGINT AS n_visits
FROM finding_count AS f
LEFT JOIN check_catalog AS c ON f.check_id = c.check_id
WHERE f.counted_by = 'day' AND f.consequence = 'repaired'
GROUP BY f.check_id, c.title
ORDER BY n_visits DESC, f.check_id ASC;
