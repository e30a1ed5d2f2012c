-- How many visits there are and what became of them, counted in one pass for all queries that ask: a row a member of a
-- grouping ('month', up to the reference day; 'branch', 'technician', 'instrument'). Without a member: visits of none.
WITH crew AS MATERIALIZED (
    -- Days before months, pairs before technicians and instruments: few enough to be put together afterwards.
    SELECT
        grouping(visited_on) = 0 AS by_day,
        visited_on,
        technician_id,
        instrument_id,
        count(*) AS n_visits,
        count(*) FILTER (WHERE NOT valid) AS n_set_aside,
        count(*) FILTER (WHERE valid AND NOT like_new) AS n_not_like_new,
        count(*) FILTER (WHERE valid AND like_new AND repairs <> '') AS n_repaired
    FROM visit_static
    GROUP BY GROUPING SETS ((visited_on), (technician_id, instrument_id))
),

-- Sites before branches, for the same reason.
sites AS (
    SELECT
        site_id,
        count(*) AS n_visits,
        count(*) FILTER (WHERE NOT valid) AS n_set_aside,
        count(*) FILTER (WHERE valid AND NOT like_new) AS n_not_like_new,
        count(*) FILTER (WHERE valid AND like_new AND repairs <> '') AS n_repaired
    FROM visit_static
    GROUP BY site_id
),

grouped AS (
    SELECT
        'month' AS grouping,
        date_trunc('month', visited_on) AS month,
        '' AS member,
        COLUMNS('^n_')
    FROM crew
    WHERE by_day AND visited_on <= (SELECT publication.today FROM publication)
    UNION ALL
    SELECT
        unnest(['technician', 'instrument']) AS grouping,
        NULL AS month,
        unnest([technician_id, instrument_id]) AS member,
        COLUMNS('^n_')
    FROM crew
    WHERE NOT by_day
    UNION ALL
    SELECT
        'branch' AS grouping,
        NULL AS month,
        site.branch AS member,
        sites.n_visits,
        sites.n_set_aside,
        sites.n_not_like_new,
        sites.n_repaired
    FROM sites
    LEFT JOIN site ON sites.site_id = site.site_id
)

SELECT
    grouping,
    month,
    member,
    sum(n_visits)::BIGINT AS n_visits,
    sum(n_set_aside)::BIGINT AS n_set_aside,
    sum(n_not_like_new)::BIGINT AS n_not_like_new,
    sum(n_repaired)::BIGINT AS n_repaired
FROM grouped
GROUP BY grouping, month, member;
