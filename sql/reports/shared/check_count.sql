-- What each check found, counted in one pass for all queries that ask: a row a check and member of a grouping, as
-- shared/visit_count.sql counts the visits. A check finds a visit once.
WITH found AS (
    SELECT
        f.check_id,
        v.visited_on,
        v.technician_id,
        v.instrument_id,
        site.branch
    FROM finding AS f
    INNER JOIN visit_static AS v ON f.visit_id = v.visit_id
    LEFT JOIN site ON v.site_id = site.site_id
),

counted AS MATERIALIZED (
    SELECT
        check_id,
        grouping(visited_on) = 0 AS by_day,
        grouping(branch) = 0 AS by_branch,
        visited_on,
        technician_id,
        instrument_id,
        branch,
        count(*) AS n_found
    FROM found
    GROUP BY GROUPING SETS ((check_id, visited_on), (check_id, technician_id, instrument_id), (check_id, branch))
),

grouped AS (
    SELECT
        check_id,
        'month' AS grouping,
        date_trunc('month', visited_on) AS month,
        '' AS member,
        n_found
    FROM counted
    WHERE by_day AND visited_on <= (SELECT publication.today FROM publication)
    UNION ALL
    SELECT
        check_id,
        'branch' AS grouping,
        NULL AS month,
        branch AS member,
        n_found
    FROM counted
    WHERE by_branch
    UNION ALL
    SELECT
        check_id,
        unnest(['technician', 'instrument']) AS grouping,
        NULL AS month,
        unnest([technician_id, instrument_id]) AS member,
        n_found
    FROM counted
    WHERE NOT by_day AND NOT by_branch
)

SELECT
    grouping,
    month,
    member,
    check_id,
    sum(n_found)::BIGINT AS n_found
FROM grouped
GROUP BY grouping, month, member, check_id;
