-- rule: every rejected row is kept with its reason, and every superseded one
-- table: load_ledger
WITH told AS (
    SELECT
        table_name,
        sum(rows_rejected) AS rejected,
        sum(rows_superseded) AS superseded
    FROM load_ledger
    GROUP BY table_name
),

rejected AS (
    SELECT
        table_name,
        count(*) AS n
    FROM rejected_row
    GROUP BY table_name
),

superseded AS (
    SELECT
        table_name,
        count(*) AS n
    FROM superseded_row
    GROUP BY table_name
)

SELECT
    t.table_name || ': ' || t.rejected || ' rejected, ' || coalesce(r.n, 0) || ' kept; ' || t.superseded
    || ' superseded, ' || coalesce(s.n, 0) || ' kept' AS what
FROM told AS t
LEFT JOIN rejected AS r ON t.table_name = r.table_name
LEFT JOIN superseded AS s ON t.table_name = s.table_name
WHERE t.rejected <> coalesce(r.n, 0) OR t.superseded <> coalesce(s.n, 0)
