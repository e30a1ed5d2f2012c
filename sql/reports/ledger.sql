-- The files that were loaded, newest top: every row of each is loaded, rejected or repeated.
SELECT
    file[:120] AS file,
    file_sha256,
    table_name,
    loaded_at,
    rows_read,
    rows_loaded,
    rows_rejected,
    rows_repeated,
    rows_superseded
FROM load_ledger
ORDER BY loaded_at DESC, load_ledger.file ASC, table_name ASC
LIMIT getvariable('top');
