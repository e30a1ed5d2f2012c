-- What speaks against the files that no gate has accepted yet, and whether more files alone could mend it: rows that
-- name a site, equipment or technician which has not come, and key tables of which no file has come. Rows without any
-- value count for nothing (staging.lost_row).
CREATE OR REPLACE TABLE beyond_waiting AS
WITH lost_by_table AS (
    SELECT
        f.table_name,
        count(*) AS n,
        count(*) FILTER (WHERE NOT coalesce(l.reason LIKE '%_unknown', false)) AS n_for_good
    FROM staging.lost_row AS l
    INNER JOIN load_file AS f ON l.load_id = f.load_id
    WHERE NOT f.accepted AND NOT l.is_empty
    GROUP BY f.table_name
),

came AS (
    SELECT
        f.table_name,
        sum(f.rows_read - c.rows_without_value) AS n
    FROM load_file AS f
    INNER JOIN load_count AS c ON f.load_id = c.load_id
    WHERE NOT f.accepted
    GROUP BY f.table_name
),

key_table (table_name, n) AS (
    VALUES
    ('sites', (SELECT count(*) FROM site)),
    ('equipment', (SELECT count(*) FROM equipment)),
    ('technicians', (SELECT count(*) FROM technician))
)

SELECT
    c.table_name,
    NOT exceeds(l.n_for_good, getvariable('gate_rejected_share') * c.n)
    OR l.n_for_good < getvariable('gate_rejected_rows') AS mendable
FROM came AS c
INNER JOIN lost_by_table AS l ON c.table_name = l.table_name
WHERE exceeds(l.n, getvariable('gate_rejected_share') * c.n) AND l.n >= getvariable('gate_rejected_rows')
UNION ALL
SELECT
    k.table_name,
    -- a file of it that holds no row at all is at fault itself; one whose rows wait is not
    coalesce((SELECT sum(f.rows_read) > 0 FROM load_file AS f WHERE f.table_name = k.table_name), true) AS mendable
FROM key_table AS k
WHERE k.n = 0 AND EXISTS (SELECT 1 FROM load_file AS f WHERE f.table_name = 'visits' AND f.rows_read > 0);
