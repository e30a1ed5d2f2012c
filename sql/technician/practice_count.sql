-- How often each check finds something at each technician's visits: the counts that are judged against the fleet.
-- A check finds a visit at most once (expectations/published.py).
CREATE OR REPLACE TABLE practice_count AS
WITH visits AS (
    SELECT technician_id, count(*) AS n_visits FROM visit_static GROUP BY technician_id
),

found AS (
    SELECT technician_id, check_id, count(*) AS n_found
    FROM technician_finding
    GROUP BY technician_id, check_id
)

SELECT n.technician_id, c.check_id, n.n_visits, coalesce(f.n_found, 0) AS n_found
FROM visits AS n
CROSS JOIN check_catalog AS c
LEFT JOIN found AS f ON n.technician_id = f.technician_id AND c.check_id = f.check_id
ORDER BY c.check_id, n.technician_id;
