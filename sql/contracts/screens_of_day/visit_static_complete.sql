-- As many visits as rows, and of touched equipment a row of each that is loaded and of no other. What was put beside the
-- rows of before are such rows alone.
SELECT 1 AS what
WHERE (SELECT count(*) FROM visit) <> (SELECT count(*) FROM visit_static)
UNION ALL
SELECT 1 AS what
FROM changed.touched_visit AS t
LEFT JOIN changed.visit AS s ON t.visit_id = s.visit_id
WHERE t.loaded <> (s.visit_id IS NOT NULL)
