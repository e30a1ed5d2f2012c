-- rule: few rows of each new file are rejected
-- table: load_ledger
-- The files of this run are those that no gate has accepted yet; the share is a setting.
WITH why AS (
    SELECT
        load_id,
        reason
    FROM refused_row
    UNION ALL
    SELECT
        load_id,
        reason
    FROM row_fate
    WHERE fate = 'rejected'
),

counted AS (
    SELECT
        load_id,
        reason,
        count(*) AS n
    FROM why
    GROUP BY load_id, reason
),

reasons AS (
    SELECT
        load_id,
        sum(n) AS n,
        string_agg(reason || ' ' || n, ', ' ORDER BY n DESC, reason ASC) AS listed
    FROM counted
    GROUP BY load_id
)

SELECT
    f.file || ': ' || r.n || ' of ' || f.rows_read || ' rows rejected (' || r.listed || '); at most '
    || format('{:.3g}', 100 * getvariable('gate_rejected_share')) || ' % may be' AS what
FROM load_file AS f
INNER JOIN reasons AS r ON f.load_id = r.load_id
WHERE NOT f.accepted AND exceeds(r.n, getvariable('gate_rejected_share') * f.rows_read)
ORDER BY f.load_id
