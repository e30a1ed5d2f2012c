-- Rows that a later row with the same key replaced, and by which one.
CREATE OR REPLACE TABLE superseded_row AS
SELECT
    t.table_name,
    t.key,
    f.file,
    l.line_number,
    b.file AS superseded_by_file,
    m.line_number AS superseded_by_line,
    l.raw_line
FROM row_fate AS t
INNER JOIN load_file AS f ON t.load_id = f.load_id
INNER JOIN load_file AS b ON t.by_load_id = b.load_id
LEFT JOIN row_line AS l ON t.load_id = l.load_id AND t.ordinal = l.ordinal
LEFT JOIN row_line AS m ON t.by_load_id = m.load_id AND t.by_ordinal = m.ordinal
WHERE t.fate = 'superseded'
ORDER BY t.table_name, t.key, f.file, l.line_number;
