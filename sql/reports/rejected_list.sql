-- Every rejected row with where it stands and what it holds, in the order of file and line; the first top.
SELECT
    file,
    line_number,
    table_name,
    reason,
    detail,
    raw_line
FROM rejected_row
ORDER BY file, line_number, table_name
LIMIT getvariable('top');
