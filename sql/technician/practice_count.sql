-- How often each check finds something at each technician's visits: the counts that are judged against the fleet.
CREATE OR REPLACE TEMP TABLE practice_count AS
SELECT n.technician_id, c.check_id, n.n_visits, coalesce(f.n_found, 0) AS n_found
FROM technician_visits AS n
CROSS JOIN check_catalog AS c
LEFT JOIN technician_found AS f ON n.technician_id = f.technician_id AND c.check_id = f.check_id;
