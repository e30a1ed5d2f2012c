-- The first top rejected rows, in the order of file and line; raw lines cut after 240 characters.
SELECT
    file[:120] AS file,
    line_number,
    table_name,
    reason,
    detail[:240] AS detail,
    raw_line[:240] AS raw_line,
    length(raw_line) > 240 AS is_cut,
    count(*) OVER () AS n_rejected
FROM rejected_row
ORDER BY rejected_row.file, line_number
LIMIT getvariable('top');
