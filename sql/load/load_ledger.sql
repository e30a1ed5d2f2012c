-- One row per file that was loaded: what became of its rows. rows_superseded are among rows_loaded.
CREATE OR REPLACE TABLE load_ledger AS
SELECT
    f.file,
    f.file_sha256,
    f.table_name,
    f.loaded_at,
    c.rows_read,
    c.rows_loaded,
    c.rows_rejected,
    c.rows_repeated,
    c.rows_superseded,
    f.remark
FROM load_file AS f
INNER JOIN load_count AS c ON f.load_id = c.load_id
ORDER BY f.load_id;
