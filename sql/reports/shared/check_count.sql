-- What each check found, counted in one pass for all queries that ask: a row a check and member of a grouping, as
-- shared/visit_count.sql counts the visits. A check finds a visit once.
-- Checks go by a number until they are counted: a tenth of the bytes to look through.
WITH numbered AS (
    SELECT
        check_id,
        row_number() OVER (ORDER BY check_id)::USMALLINT AS check_no
    FROM check_catalog
),

noted AS (
    SELECT
        f.visit_id,
        n.check_no
    FROM finding AS f
    INNER JOIN numbered AS n ON f.check_id = n.check_id
),

found AS (
    SELECT
        f.check_no,
        v.visited_on,
        v.technician_id,
        v.instrument_id,
        site.branch
    FROM noted AS f
    INNER JOIN visit_static AS v ON f.visit_id = v.visit_id
    LEFT JOIN site ON v.site_id = site.site_id
),

-- Days before months, pairs before technicians and instruments: few enough to be put together afterwards.
counted AS MATERIALIZED (
    SELECT
        check_no,
        grouping(visited_on) = 0 AS by_day,
        grouping(branch) = 0 AS by_branch,
        visited_on,
        technician_id,
        instrument_id,
        branch,
        count(*) AS n_found
    FROM found
    GROUP BY GROUPING SETS ((check_no, visited_on), (check_no, technician_id, instrument_id), (check_no, branch))
),

grouped AS (
    SELECT
        check_no,
        'month' AS grouping,
        date_trunc('month', visited_on) AS month,
        '' AS member,
        n_found
    FROM counted
    WHERE by_day AND visited_on <= (SELECT publication.today FROM publication)
    UNION ALL
    SELECT
        check_no,
        'branch' AS grouping,
        NULL AS month,
        branch AS member,
        n_found
    FROM counted
    WHERE by_branch
    UNION ALL
    SELECT
        check_no,
        unnest(['technician', 'instrument']) AS grouping,
        NULL AS month,
        unnest([technician_id, instrument_id]) AS member,
        n_found
    FROM counted
    WHERE NOT by_day AND NOT by_branch
)

SELECT
    grouped.grouping,
    grouped.month,
    grouped.member,
    numbered.check_id,
    sum(grouped.n_found)::BIGINT AS n_found
FROM grouped
INNER JOIN numbered ON grouped.check_no = numbered.check_no
GROUP BY grouped.grouping, grouped.month, grouped.member, numbered.check_id;
