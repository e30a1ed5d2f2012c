-- Which files had most rows rejected, and for what reason most of all?
SELECT
    l.file,
    l.rows_read,
    l.rows_rejected,
    l.rows_rejected / l.rows_read AS share,
    r.reason AS main_reason
FROM load_ledger AS l
LEFT JOIN (
    SELECT file, table_name, mode(reason ORDER BY reason) AS reason
    FROM rejected_row
    GROUP BY file, table_name
) AS r ON l.file = r.file AND l.table_name = r.table_name
WHERE l.rows_rejected > 0
ORDER BY l.rows_rejected DESC, l.file
LIMIT 50;
