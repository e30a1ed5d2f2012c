-- What the load stage keeps between runs, beside the staged tables (which are made from pipeline/load/inputs.py).

-- One row per file that was read. `accepted` becomes true once the run that read it has passed the gate.
CREATE TABLE IF NOT EXISTS load_file (
    load_id INTEGER,
    file VARCHAR,
    folder VARCHAR,
    file_sha256 VARCHAR,
    table_name VARCHAR,
    loaded_at TIMESTAMPTZ,
    rows_read BIGINT,
    accepted BOOLEAN
);

-- Rows that could not be understood, for good: ragged ones (`record` counts the file's records from 0, header
-- included) and ones with a value that cannot be read (`ordinal` counts the staged rows of the file from 0).
CREATE TABLE IF NOT EXISTS refused_row (
    load_id INTEGER,
    record BIGINT,
    ordinal BIGINT,
    line_number BIGINT,
    raw_line VARCHAR,
    reason VARCHAR,
    detail VARCHAR
);

-- Line and raw text of staged rows that some report had to point at.
CREATE TABLE IF NOT EXISTS row_line (load_id INTEGER, ordinal BIGINT, line_number BIGINT, raw_line VARCHAR);
