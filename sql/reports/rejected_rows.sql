-- The first top rejected rows, those that were not put right since first, in the order of file and line; raw lines cut
-- after 240 characters.
SELECT
    file[:120] AS file,
    line_number,
    table_name,
    reason,
    detail[:240] AS detail,
    raw_line[:240] AS raw_line,
    length(raw_line) > 240 AS is_cut,
    is_mended,
    count(*) OVER () AS n_rejected
FROM rejected_row
ORDER BY is_mended, rejected_row.file, line_number
LIMIT getvariable('top');
