-- The counts of the last run and what has changed of them, put together. What is counted anew takes no part of the former.
CREATE OR REPLACE TABLE visit_count AS
SELECT
    counted_by,
    visited_on,
    technician_id,
    instrument_id,
    branch,
    sum(n_visits)::BIGINT AS n_visits,
    sum(n_set_aside)::BIGINT AS n_set_aside,
    sum(n_not_like_new)::BIGINT AS n_not_like_new,
    sum(n_repaired)::BIGINT AS n_repaired,
    sum(n_mended)::BIGINT AS n_mended
FROM (
    FROM visit_count_before
    UNION ALL
    FROM visit_count
) AS c
GROUP BY counted_by, visited_on, technician_id, instrument_id, branch
HAVING sum(n_visits) > 0
ORDER BY counted_by, visited_on, technician_id, instrument_id, branch;

CREATE OR REPLACE TABLE finding_count AS
SELECT
    counted_by,
    visited_on,
    branch,
    check_id,
    consequence,
    sum(n_found)::BIGINT AS n_found
FROM (
    FROM finding_count_before
    WHERE check_id NOT IN (SELECT fleet_check.check_id FROM fleet_check)
    UNION ALL
    FROM finding_count
) AS c
GROUP BY counted_by, visited_on, branch, check_id, consequence
HAVING sum(n_found) > 0
ORDER BY counted_by, visited_on, branch, check_id, consequence;
