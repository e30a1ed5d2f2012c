-- What each check found, a row a check and member of a grouping: 'month', 'branch' or 'technician', as
-- member_visits.sql counts the visits. A check finds a visit once.
SELECT
    'month' AS grouping,
    date_trunc('month', visited_on) AS month,
    '' AS member,
    check_id,
    sum(n_found)::BIGINT AS n_found
FROM finding_count
WHERE counted_by = 'day' AND visited_on <= (SELECT publication.today FROM publication)
GROUP BY ALL
UNION ALL
SELECT
    'branch' AS grouping,
    NULL AS month,
    branch AS member,
    check_id,
    sum(n_found)::BIGINT AS n_found
FROM finding_count
WHERE counted_by = 'branch'
GROUP BY ALL
UNION ALL
SELECT
    'technician' AS grouping,
    NULL AS month,
    technician_id AS member,
    check_id,
    n_found
FROM practice_rate
WHERE n_found > 0;
