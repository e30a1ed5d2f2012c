-- rule: no key table is empty where visits came
-- table: visit
-- rows: sentences
WITH key_table AS (
    SELECT
        'sites' AS table_name,
        count(*) AS n
    FROM site
    UNION ALL
    SELECT
        'equipment' AS table_name,
        count(*) AS n
    FROM equipment
    UNION ALL
    SELECT
        'technicians' AS table_name,
        count(*) AS n
    FROM technician
),

came AS (
    SELECT sum(rows_read) AS n
    FROM load_ledger
    WHERE table_name = 'visits'
)

SELECT k.table_name || ': no usable row, although ' || c.n || ' rows of visits were read' AS what
FROM key_table AS k
CROSS JOIN came AS c
WHERE k.n = 0 AND c.n > 0
ORDER BY k.table_name
