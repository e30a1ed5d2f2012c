-- What the load stage keeps between runs, beside the staged tables (which are made from pipeline/load/inputs.py).

CREATE SCHEMA IF NOT EXISTS staging;

-- One row per file that was read. `accepted` becomes true once the run that read it has passed the gate.
-- `mapping_sha256` tells one reading of a file from another; `missing` names required columns that it lacks; `remark`
-- says how it was read where that may be amiss. Of `rows_wrong` of its staged rows a value cannot be read.
CREATE TABLE IF NOT EXISTS load_file (
    load_id INTEGER,
    file VARCHAR,
    folder VARCHAR,
    file_sha256 VARCHAR,
    file_bytes BIGINT,
    table_name VARCHAR,
    loaded_at TIMESTAMPTZ,
    rows_read BIGINT,
    rows_staged BIGINT,
    rows_wrong BIGINT,
    kept VARCHAR,
    mapping_sha256 VARCHAR,
    mapping VARCHAR,
    missing VARCHAR,
    remark VARCHAR,
    accepted BOOLEAN
);

-- Where the rows of each load stand among the staged ones: together, from the rowid `first_row` on, load after load.
CREATE OR REPLACE VIEW load_place AS
SELECT
    load_id,
    table_name,
    rows_staged,
    (sum(rows_staged) OVER (PARTITION BY table_name ORDER BY load_id) - rows_staged)::BIGINT AS first_row
FROM load_file;

-- Rows that could not be understood, for good. `record`: number of a ragged row as the reader counts it;
-- `ordinal`: place among the staged rows of its file, from 0, of a row with a value that cannot be read.
CREATE TABLE IF NOT EXISTS refused_row (
    load_id INTEGER,
    record BIGINT,
    ordinal BIGINT,
    line_number BIGINT,
    raw_line VARCHAR,
    reason VARCHAR,
    detail VARCHAR
);

-- Line and raw text of staged rows that a report had to point at.
CREATE TABLE IF NOT EXISTS row_line (load_id INTEGER, ordinal BIGINT, line_number BIGINT, raw_line VARCHAR);

-- Of files whose every row is a line: places in the text (bytes), and how many line breaks stand before each.
CREATE TABLE IF NOT EXISTS text_mark (load_id INTEGER, place BIGINT, line_breaks BIGINT);

-- The format of all these; see pipeline/load/work_tables.py.
CREATE TABLE IF NOT EXISTS load_format (format INTEGER, shape VARCHAR);
