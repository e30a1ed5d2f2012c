-- rule: each technician's visits are all counted
-- table: technician_practice
SELECT coalesce(v.technician_id, p.technician_id) AS what
FROM (SELECT
    technician_id,
    count(*) AS n
FROM visit
GROUP BY technician_id) AS v
FULL JOIN technician_practice AS p ON v.technician_id = p.technician_id
WHERE v.n IS DISTINCT FROM nullif(p.n_visits, 0)
