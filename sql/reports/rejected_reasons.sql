-- Rejected rows by table and reason, and how many of them were put right since.
SELECT
    table_name,
    reason,
    count(*) AS n_rows,
    count(*) FILTER (WHERE is_mended) AS n_mended,
    count(DISTINCT file) AS n_files
FROM rejected_row
GROUP BY ALL
ORDER BY n_rows DESC, table_name ASC, reason ASC
LIMIT 60;
