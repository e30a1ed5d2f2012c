-- Why are visits set aside, and how many does each reason cost alone?
SELECT
    f.check_id,
    c.title,
    count(*) AS n_visits,
    count(*) FILTER (WHERE v.set_aside_because = f.check_id) AS n_for_this_alone
FROM finding AS f
INNER JOIN check_catalog AS c USING (check_id)
INNER JOIN visit_static AS v USING (visit_id)
WHERE f.consequence = 'set_aside' AND c.applies_to = 'visit'
GROUP BY f.check_id, c.title
ORDER BY n_visits DESC, f.check_id;
