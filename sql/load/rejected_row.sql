-- Rows that take no part, each with its line, its text and why.
CREATE OR REPLACE TABLE rejected_row AS
WITH rejected AS (
    SELECT
        load_id,
        line_number,
        raw_line,
        reason,
        detail
    FROM refused_row
    UNION ALL
    SELECT
        t.load_id,
        l.line_number,
        l.raw_line,
        t.reason,
        t.detail
    FROM row_fate AS t
    LEFT JOIN row_line AS l ON t.load_id = l.load_id AND t.ordinal = l.ordinal
    WHERE t.fate = 'rejected'
)

SELECT
    f.file,
    r.line_number,
    f.table_name,
    r.raw_line,
    r.reason,
    r.detail
FROM rejected AS r
INNER JOIN load_file AS f ON r.load_id = f.load_id
ORDER BY f.table_name, f.file, f.load_id, r.line_number;
