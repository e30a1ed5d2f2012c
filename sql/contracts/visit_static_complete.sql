-- rule: every loaded visit has its row, and no other
-- table: visit_static
SELECT coalesce(v.visit_id, s.visit_id) AS what
FROM visit AS v
FULL JOIN visit_static AS s ON v.visit_id = s.visit_id
WHERE v.visit_id IS NULL OR s.visit_id IS NULL
