-- How many visits there are and what became of them: by local day, by measurer (a technician with an instrument), by branch
-- of the site.
CREATE OR REPLACE TABLE visit_count AS
WITH counted AS (
    SELECT
        CASE
            WHEN grouping(visited_on) = 0 THEN 'day'
            WHEN grouping(equipment_id) = 0 THEN 'branch'
            ELSE 'measurer'
        END AS counted_by,
        visited_on,
        technician_id,
        instrument_id,
        equipment_id,
        sign,
        sum(sign) AS n_visits,
        sum(if(valid, 0, sign)) AS n_set_aside,
        sum(if(valid AND NOT like_new, sign, 0)) AS n_not_like_new,
        sum(if(valid AND like_new AND repairs <> '', sign, 0)) AS n_repaired,
        sum(if(repairs <> '', sign, 0)) AS n_mended
    FROM counted_visit
    GROUP BY GROUPING SETS ((visited_on), (technician_id, instrument_id), (equipment_id, sign))
)

-- Equipment before branches: few enough to be put together afterwards.
SELECT
    c.counted_by,
    c.visited_on,
    c.technician_id,
    c.instrument_id,
    u.branch,
    sum(c.n_visits)::BIGINT AS n_visits,
    sum(c.n_set_aside)::BIGINT AS n_set_aside,
    sum(c.n_not_like_new)::BIGINT AS n_not_like_new,
    sum(c.n_repaired)::BIGINT AS n_repaired,
    sum(c.n_mended)::BIGINT AS n_mended
FROM counted AS c
LEFT JOIN counted_unit AS u ON c.equipment_id = u.equipment_id AND c.sign = u.sign
GROUP BY ALL
ORDER BY c.counted_by, c.visited_on, c.technician_id, c.instrument_id, u.branch;
