-- How many visits there are and what became of them: by local day, by measurer (a technician with an instrument), by branch
-- of the site.
CREATE OR REPLACE TABLE visit_count AS
SELECT
    CASE
        WHEN grouping(visited_on) = 0 THEN 'day'
        WHEN grouping(branch) = 0 THEN 'branch'
        ELSE 'measurer'
    END AS counted_by,
    visited_on,
    technician_id,
    instrument_id,
    branch,
    sum(times)::BIGINT AS n_visits,
    sum(if(valid, 0, times))::BIGINT AS n_set_aside,
    sum(if(valid AND NOT like_new, times, 0))::BIGINT AS n_not_like_new,
    sum(if(valid AND like_new AND repaired, times, 0))::BIGINT AS n_repaired,
    sum(if(repaired, times, 0))::BIGINT AS n_mended
FROM counted_visit
GROUP BY GROUPING SETS ((visited_on), (technician_id, instrument_id), (branch))
ORDER BY counted_by, visited_on, technician_id, instrument_id, branch;
