-- The share of visits that are set aside, by 'technician' or 'instrument' (grouping), with its 95 % interval (Wilson) and
-- the fleet's share beside it. Only from the minimum of visits; the groups with the highest lower limit, most first.
WITH grouped AS (
    SELECT
        member,
        n_visits,
        n_set_aside AS n_aside
    FROM memory.member_visits
    WHERE grouping = getvariable('grouping')
),

fleet AS (
    SELECT sum(n_aside) / sum(n_visits) AS fleet_share
    FROM grouped
)

SELECT
    grouped.member,
    grouped.n_visits,
    grouped.n_aside,
    grouped.n_aside / grouped.n_visits AS share,
    wilson_lo(grouped.n_aside, grouped.n_visits) AS share_lo,
    wilson_hi(grouped.n_aside, grouped.n_visits) AS share_hi,
    fleet.fleet_share,
    count(*) OVER () AS n_members
FROM grouped, fleet
WHERE
    grouped.member IS NOT NULL
    AND grouped.n_visits >= (
        SELECT setting.value FROM setting
        WHERE setting.name = 'technician_min_visits'
    )
ORDER BY share_lo DESC, grouped.member ASC
LIMIT getvariable('groups');
