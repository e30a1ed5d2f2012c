-- Rows that take no part, each with its line, its text and why, and whether it was put right since.
CREATE OR REPLACE TABLE rejected_row AS
WITH rejected AS (
    SELECT
        load_id,
        ordinal,
        line_number,
        raw_line,
        reason,
        detail
    FROM refused_row
    UNION ALL
    SELECT
        t.load_id,
        t.ordinal,
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
    r.detail,
    m.load_id IS NOT NULL AS is_mended
FROM rejected AS r
INNER JOIN load_file AS f ON r.load_id = f.load_id
LEFT JOIN mended_row AS m ON r.load_id = m.load_id AND r.ordinal = m.ordinal
ORDER BY f.table_name, f.file, f.load_id, r.line_number;
