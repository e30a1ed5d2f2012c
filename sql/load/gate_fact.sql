-- What the gate has to judge: files without a required column, tables without which nothing can be measured and
-- that are empty, and input tables of which too large a share was rejected in this run.
CREATE OR REPLACE TABLE gate_fact AS
WITH key_table (table_name, is_empty) AS (
    VALUES
    ('sites', NOT EXISTS (SELECT 1 FROM site)),
    ('equipment', NOT EXISTS (SELECT 1 FROM equipment)),
    ('technicians', NOT EXISTS (SELECT 1 FROM technician)),
    ('visits', NOT EXISTS (SELECT 1 FROM visit))
),

judged AS (
    SELECT
        c.table_name,
        sum(c.rows_rejected - c.rows_without_value) AS n_rejected,
        sum(c.rows_read - c.rows_without_value) AS n_read
    FROM load_count AS c
    INNER JOIN load_file AS f ON c.load_id = f.load_id
    WHERE NOT f.accepted
    GROUP BY c.table_name
)

SELECT
    file,
    table_name,
    'missing_column' AS problem,
    'the header lacks ' || missing AS detail
FROM load_file
WHERE NOT accepted AND missing <> ''
UNION ALL
SELECT
    NULL AS file,
    table_name,
    'key_table_empty' AS problem,
    'no row of ' || table_name || ' could be loaded' AS detail
FROM key_table
WHERE is_empty
UNION ALL
SELECT
    NULL AS file,
    table_name,
    'rejected_share' AS problem,
    n_rejected || ' of ' || n_read || ' rows were rejected, expected at most '
    || printf('%g', 100 * getvariable('gate_rejected_share')) || ' %' AS detail
FROM judged
WHERE n_rejected > getvariable('gate_rejected_share') * n_read + 1e-9 AND n_rejected >= getvariable('gate_rejected_rows');
