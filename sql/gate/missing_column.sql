-- rule: every file has the required columns of its table
-- table: gate_fact
-- rows: sentences
SELECT concat_ws(': ', file, detail) AS what
FROM gate_fact
WHERE problem = 'missing_column'
ORDER BY file
