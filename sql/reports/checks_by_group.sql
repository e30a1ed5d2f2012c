-- Each check's share of visits within one grouping: 'month', 'branch', 'technician' or 'instrument' (grouping).
-- Technicians and instruments only from the minimum of visits; months up to the reference day; at most groups groups
-- (months: the latest; others: those with most visits) of all n_members. A check finds a visit once. Intervals: 95 %, Wilson.
-- By technician only the checks of how a reading was taken: what a unit or a gauge shows says nothing of a technician.
WITH members AS (
    SELECT
        month,
        member,
        coalesce(strftime(month, '%Y-%m'), member) AS shown,
        n_visits,
        count(*) OVER () AS n_members
    FROM memory.member_visits
    WHERE
        grouping = getvariable('grouping')
        AND member IS NOT NULL
        AND (
            grouping NOT IN ('technician', 'instrument')
            OR n_visits >= (
                SELECT setting.value FROM setting
                WHERE setting.name = 'technician_min_visits'
            )
        )
    ORDER BY month DESC, n_visits DESC, member ASC
    LIMIT getvariable('groups')
),

found AS (
    SELECT
        m.shown,
        m.n_visits,
        c.check_id,
        c.n_found
    FROM memory.member_found AS c
    INNER JOIN members AS m ON c.month IS NOT DISTINCT FROM m.month AND c.member = m.member
    WHERE c.grouping = getvariable('grouping')
    UNION ALL
    -- Only of the instruments that are shown.
    SELECT
        m.shown,
        m.n_visits,
        f.check_id,
        count(*) AS n_found
    FROM visit AS v
    INNER JOIN members AS m ON v.instrument_id = m.member
    INNER JOIN finding AS f ON v.visit_id = f.visit_id
    WHERE getvariable('grouping') = 'instrument'
    GROUP BY m.shown, m.n_visits, f.check_id
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
    sum(found.n_found) OVER (PARTITION BY found.check_id)::BIGINT AS n_found_all,
    (SELECT count(*) FROM members) AS n_shown,
    (SELECT any_value(members.n_members) FROM members) AS n_members
FROM found
LEFT JOIN check_catalog AS c ON found.check_id = c.check_id
WHERE getvariable('grouping') <> 'technician' OR coalesce(c.belongs_to, 'reading') = 'reading'
ORDER BY found.shown, found.check_id;
