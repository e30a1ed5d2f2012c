-- Numbers are looked up for less than texts.
SELECT 1 AS what
FROM (SELECT hash(visit_id) AS visit_hash FROM finding) AS f
ANTI JOIN (SELECT hash(visit_id) AS visit_hash FROM visit) AS v ON f.visit_hash = v.visit_hash
UNION ALL
SELECT 1 AS what
FROM finding AS f
ANTI JOIN check_catalog AS c ON f.check_id = c.check_id
