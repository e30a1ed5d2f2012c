-- rule: rows read are loaded, rejected or repeated, none lost
-- table: load_ledger
-- rows: sentences
SELECT
    file || ': ' || rows_read || ' read, ' || rows_loaded || ' loaded, ' || rows_rejected || ' rejected, '
    || rows_repeated || ' repeated' AS what
FROM load_ledger
WHERE rows_read IS DISTINCT FROM rows_loaded + rows_rejected + rows_repeated
