-- How many visits each check finds, by its consequence: by local day of the visit, and by branch of the site.
CREATE OR REPLACE TABLE finding_count AS
WITH counted AS (
    SELECT
        f.check_id,
        f.consequence,
        f.visited_on,
        u.branch,
        sum(f.sign) AS n_found
    FROM counted_finding AS f
    LEFT JOIN counted_unit AS u ON f.equipment_id = u.equipment_id AND f.sign = u.sign
    GROUP BY f.check_id, f.consequence, f.visited_on, u.branch
)

SELECT
    CASE WHEN grouping(visited_on) = 0 THEN 'day' ELSE 'branch' END AS counted_by,
    visited_on,
    branch,
    check_id,
    consequence,
    sum(n_found)::BIGINT AS n_found
FROM counted
GROUP BY GROUPING SETS ((check_id, consequence, visited_on), (check_id, consequence, branch))
ORDER BY counted_by, visited_on, branch, check_id, consequence;
