-- All files together, and the gate's limit on rejected rows. One row.
SELECT
    count(*) AS n_files,
    coalesce(sum(rows_read), 0)::BIGINT AS rows_read,
    coalesce(sum(rows_loaded), 0)::BIGINT AS rows_loaded,
    coalesce(sum(rows_rejected), 0)::BIGINT AS rows_rejected,
    coalesce(sum(rows_repeated), 0)::BIGINT AS rows_repeated,
    coalesce(sum(rows_superseded), 0)::BIGINT AS rows_superseded,
    coalesce(sum(rows_read) FILTER (WHERE table_name = 'visits'), 0)::BIGINT AS rows_of_visits_read,
    coalesce(sum(rows_rejected) FILTER (WHERE table_name = 'visits'), 0)::BIGINT AS rows_of_visits_rejected,
    sum(rows_rejected) / nullif(sum(rows_read), 0) AS share_rejected,
    max(rows_rejected / nullif(rows_read, 0)) AS largest_share_rejected,
    count(*) FILTER (WHERE rows_read <> rows_loaded + rows_rejected + rows_repeated) AS n_files_not_conserved,
    (
        SELECT setting.value FROM setting
        WHERE setting.name = 'gate_rejected_share'
    ) AS gate_rejected_share
FROM load_ledger;
