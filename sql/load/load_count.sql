-- What became of the rows of every loaded file.
CREATE OR REPLACE TABLE load_count AS
WITH refused AS (
    SELECT
        load_id,
        count(*) AS n,
        count(*) FILTER (WHERE holds_no_value(raw_line)) AS n_empty
    FROM refused_row
    GROUP BY load_id
),

fates AS (
    SELECT
        load_id,
        count(*) FILTER (WHERE fate = 'rejected') AS rejected,
        count(*) FILTER (WHERE fate = 'repeated') AS repeated,
        count(*) FILTER (WHERE fate = 'superseded') AS superseded
    FROM row_fate
    GROUP BY load_id
)

SELECT
    f.load_id,
    f.table_name,
    f.rows_read,
    coalesce(c.n, 0) + coalesce(t.superseded, 0) AS rows_loaded,
    coalesce(r.n, 0) + coalesce(t.rejected, 0) AS rows_rejected,
    coalesce(r.n_empty, 0) AS rows_without_value,
    coalesce(t.repeated, 0) AS rows_repeated,
    coalesce(t.superseded, 0) AS rows_superseded
FROM load_file AS f
LEFT JOIN kept_count AS c ON f.load_id = c.load_id
LEFT JOIN refused AS r ON f.load_id = r.load_id
LEFT JOIN fates AS t ON f.load_id = t.load_id;
