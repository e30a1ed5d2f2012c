-- Each check's share of visits within one grouping: 'month', 'branch', 'technician' or 'instrument' (grouping).
-- Technicians and instruments only from the minimum of visits; months up to the reference day; at most groups groups
-- (months: the latest; others: those with most visits). A check finds a visit once. Intervals: 95 %, Wilson.
WITH grouped AS (
    SELECT
        v.visit_id,
        -- Months by their first day: written out below for a few of them rather than here for every visit.
        CASE WHEN getvariable('grouping') = 'month' THEN date_trunc('month', v.visited_on) END AS month,
        CASE getvariable('grouping')
            WHEN 'month' THEN ''
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
        month,
        member,
        coalesce(strftime(month, '%Y-%m'), member) AS shown,
        count(*) AS n_visits
    FROM grouped
    WHERE member IS NOT NULL
    GROUP BY month, member
    HAVING
        getvariable('grouping') NOT IN ('technician', 'instrument')
        OR n_visits >= (
            SELECT setting.value FROM setting
            WHERE setting.name = 'technician_min_visits'
        )
    ORDER BY month DESC, n_visits DESC, member ASC
    LIMIT getvariable('groups')
),

-- The visits of the groups shown, looked up by what was found of them.
found AS (
    SELECT
        m.shown,
        m.n_visits,
        f.check_id,
        count(*) AS n_found
    FROM grouped AS g
    INNER JOIN members AS m ON g.month IS NOT DISTINCT FROM m.month AND g.member = m.member
    INNER JOIN finding AS f ON g.visit_id = f.visit_id
    GROUP BY ALL
)

SELECT
    found.shown AS member,
    found.check_id,
    coalesce(c.title, found.check_id) AS title,
    found.n_found,
    found.n_visits,
    found.n_found / found.n_visits AS share,
    wilson_lo(found.n_found, found.n_visits) AS share_lo,
    wilson_hi(found.n_found, found.n_visits) AS share_hi,
    sum(found.n_found) OVER (PARTITION BY found.check_id)::BIGINT AS n_found_all
FROM found
LEFT JOIN check_catalog AS c ON found.check_id = c.check_id
ORDER BY found.shown, found.check_id;
