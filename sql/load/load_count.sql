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

-- Every row that takes no part, with its reason; is_empty: it holds no value, as spreadsheets leave rows below their
-- tables. Such rows speak against nothing where a drop is judged.
CREATE OR REPLACE VIEW staging.lost_row AS
SELECT
    load_id,
    reason,
    coalesce(holds_no_value(raw_line), false) AS is_empty
FROM refused_row
UNION ALL
SELECT
    load_id,
    reason,
    false AS is_empty
FROM row_fate
WHERE fate = 'rejected';
