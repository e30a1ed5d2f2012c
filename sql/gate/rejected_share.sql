-- rule: few rows of each table of the drop are rejected
-- table: load_ledger
-- rows: sentences
-- The drop's files are those that no gate has accepted yet; the share is a setting, and from how many rows on it counts.
-- Rows without any value count for nothing (staging.lost_row).
WITH counted AS (
    SELECT
        f.table_name,
        l.reason,
        count(*) AS n
    FROM staging.lost_row AS l
    INNER JOIN load_file AS f ON l.load_id = f.load_id
    WHERE NOT f.accepted AND NOT l.is_empty
    GROUP BY f.table_name, l.reason
),

reasons AS (
    SELECT
        table_name,
        sum(n) AS n,
        coalesce(2 * sum(n) FILTER (reason = 'bad_date') > sum(n), false) AS mostly_dates,
        string_agg(reason || ' ' || n, ', ' ORDER BY n DESC, reason ASC) AS listed
    FROM counted
    GROUP BY table_name
),

came AS (
    SELECT
        f.table_name,
        sum(f.rows_read - c.rows_without_value) AS rows_read,
        string_agg(f.file, ', ' ORDER BY f.file) AS files
    FROM load_file AS f
    INNER JOIN load_count AS c ON f.load_id = c.load_id
    WHERE NOT f.accepted
    GROUP BY f.table_name
)

SELECT
    c.table_name || ': ' || r.n || ' of ' || c.rows_read || ' rows rejected (' || r.listed || '), expected at most '
    || format('{:.3g}', 100 * getvariable('gate_rejected_share')) || ' % (or fewer than '
    || format('{:.3g}', getvariable('gate_rejected_rows')) || ' rows); in ' || left(c.files, 200)
    || CASE
        WHEN r.mostly_dates THEN '; a mapping tells how dates are written: date_format, time_format' ELSE ''
    END AS what
FROM came AS c
INNER JOIN reasons AS r ON c.table_name = r.table_name
WHERE exceeds(r.n, getvariable('gate_rejected_share') * c.rows_read) AND r.n >= getvariable('gate_rejected_rows')
ORDER BY c.table_name
