-- How many visits each check finds, by its consequence: by local day of the visit, and by branch of the site.
CREATE OR REPLACE TABLE finding_count AS
SELECT
    CASE WHEN grouping(visited_on) = 0 THEN 'day' ELSE 'branch' END AS counted_by,
    visited_on,
    branch,
    check_id,
    consequence,
    sum(times)::BIGINT AS n_found
FROM counted_finding
GROUP BY GROUPING SETS ((check_id, consequence, visited_on), (check_id, consequence, branch))
ORDER BY counted_by, visited_on, branch, check_id, consequence;
