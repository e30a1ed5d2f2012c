-- Every rejected row with where it stands and what it holds, those that were not put right since first, in
-- the order of file and line; the first top.
SELECT
    file,
    line_number,
    table_name,
    reason,
    detail,
    raw_line,
    is_mended
FROM rejected_row
ORDER BY is_mended, file, line_number, table_name
LIMIT getvariable('top');
