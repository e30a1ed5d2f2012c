-- What became of the visits, by 'month' (up to the reference day), 'branch', 'technician' or 'instrument' (grouping): a row
-- a member. Without a member: visits of none.
WITH grouped AS (
    SELECT
        'month' AS grouping,
        date_trunc('month', visited_on) AS month,
        '' AS member,
        COLUMNS('^n_')
    FROM visit_count
    WHERE counted_by = 'day' AND visited_on <= (SELECT publication.today FROM publication)
    UNION ALL
    SELECT
        unnest(['technician', 'instrument']) AS grouping,
        NULL AS month,
        unnest([technician_id, instrument_id]) AS member,
        COLUMNS('^n_')
    FROM visit_count
    WHERE counted_by = 'measurer'
    UNION ALL
    SELECT
        'branch' AS grouping,
        NULL AS month,
        branch AS member,
        COLUMNS('^n_')
    FROM visit_count
    WHERE counted_by = 'branch'
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
