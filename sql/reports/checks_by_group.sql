-- Each check's share of visits within one grouping: 'month', 'branch', 'technician' or 'instrument' (grouping).
-- Technicians and instruments only from the minimum of visits; months up to the reference day; at most groups groups
-- (months: the latest; others: those with most visits). A check finds a visit once. Intervals: 95 %, Wilson.
WITH grouped AS (
    SELECT
        v.visit_id,
        CASE getvariable('grouping')
            WHEN 'month' THEN strftime(v.visited_on, '%Y-%m')
            WHEN 'branch' THEN site.branch
            WHEN 'technician' THEN v.technician_id
            ELSE v.instrument_id
        END AS member
    FROM visit_static AS v
    LEFT JOIN site ON v.site_id = site.site_id
    WHERE getvariable('grouping') <> 'month' OR v.visited_on <= (SELECT today FROM publication)
),

members AS (
    SELECT
        member,
        count(*) AS n_visits
    FROM grouped
    WHERE member IS NOT NULL
    GROUP BY member
    HAVING
        getvariable('grouping') NOT IN ('technician', 'instrument')
        OR n_visits >= (
            SELECT setting.value FROM setting
            WHERE setting.name = 'technician_min_visits'
        )
    ORDER BY CASE WHEN getvariable('grouping') = 'month' THEN member END DESC, n_visits DESC, member ASC
    LIMIT getvariable('groups')
),

found AS (
    SELECT
        grouped.member,
        f.check_id,
        count(*) AS n_found
    FROM finding AS f
    INNER JOIN grouped ON f.visit_id = grouped.visit_id
    GROUP BY ALL
)

SELECT
    found.member,
    found.check_id,
    coalesce(c.title, found.check_id) AS title,
    found.n_found,
    members.n_visits,
    found.n_found / members.n_visits AS share,
    wilson_lo(found.n_found, members.n_visits) AS share_lo,
    wilson_hi(found.n_found, members.n_visits) AS share_hi,
    sum(found.n_found) OVER (PARTITION BY found.check_id)::BIGINT AS n_found_all
FROM found
INNER JOIN members ON found.member = members.member
LEFT JOIN check_catalog AS c ON found.check_id = c.check_id
ORDER BY found.member, found.check_id;
