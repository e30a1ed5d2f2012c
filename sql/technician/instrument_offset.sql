-- A row per technician and instrument: what their readings show beyond what others find at the same sites.
-- Material and significant, both, on a port with enough visits: then the readings count as doubtful.
CREATE OR REPLACE TEMP TABLE offset_told AS
-- Of two technicians, or of two gauges, nobody can tell which reads right, however many pairs they make. One gauge is in
-- order: its hands are compared with each other. A gauge without a name counts as its technician's own.
WITH voice AS (
    SELECT
        f.group_no,
        count(DISTINCT m.technician_id) AS n_technicians,
        count(DISTINCT coalesce(nullif(m.instrument_id, ''), concat('of ', m.technician_id))) AS n_gauges
    FROM offset_fit AS f
    INNER JOIN offset_measurer AS m USING (measurer)
    GROUP BY f.group_no
)

-- Sound hands with sound gauges differ a little too (a gauge's gain, within its accuracy): a port's standard error
-- includes that spread, so that its interval is about the zero and not about the gain.
SELECT
    f.* EXCLUDE (group_size) REPLACE (
        sqrt(pow(f.return_se, 2) + pow(f.return_spread, 2)) AS return_se,
        sqrt(pow(f.supply_se, 2) + pow(f.supply_spread, 2)) AS supply_se
    ),
    m.technician_id,
    nullif(m.instrument_id, '') AS instrument_id,
    f.group_size >= getvariable('offset_min_group')
    AND v.n_technicians >= getvariable('offset_min_voices')
    AND (v.n_gauges = 1 OR v.n_gauges >= getvariable('offset_min_voices')) AS can_be_told
FROM offset_fit AS f
INNER JOIN offset_measurer AS m USING (measurer)
INNER JOIN voice AS v USING (group_no);

CREATE OR REPLACE TEMP TABLE offset_tested AS
SELECT
    measurer,
    port,
    2 * (1 - student_t_cdf(abs(offset_inwc / offset_se), greatest(n_sites - 1, 1)::DOUBLE)) AS p_value
FROM (
    SELECT measurer, n_visits, n_sites, 'return' AS port, return_offset AS offset_inwc, return_se AS offset_se
    FROM offset_told
    WHERE can_be_told
    UNION ALL
    SELECT measurer, n_visits, n_sites, 'supply', supply_offset, supply_se
    FROM offset_told
    WHERE can_be_told
)
WHERE n_visits >= getvariable('technician_min_visits') AND offset_se > 0;

-- To the thousandth: no gauge shows less, and readings are corrected by what stands here (site/correction.sql). So a few
-- new readings do not move all that this technician ever read.
CREATE OR REPLACE TABLE instrument_offset AS
WITH adjusted AS (
    SELECT measurer, port, q_bh AS q_value FROM bh_adjusted('offset_tested')
),

told AS (
    SELECT
        * REPLACE (
            round(return_offset, 3) + 0 AS return_offset, round(supply_offset, 3) + 0 AS supply_offset -- no -0.0
        )
    FROM offset_told
)

SELECT
    t.technician_id,
    t.instrument_id,
    t.n_visits,
    t.n_sites,
    CASE WHEN t.can_be_told THEN t.return_offset END AS return_offset_inwc,
    CASE WHEN t.can_be_told THEN t.return_se END AS return_offset_se,
    CASE WHEN t.can_be_told THEN t.supply_offset END AS supply_offset_inwc,
    CASE WHEN t.can_be_told THEN t.supply_se END AS supply_offset_se,
    least(r.q_value, s.q_value) AS q_value,
    CASE WHEN t.can_be_told THEN t.tesp_offset END AS tesp_offset_inwc,
    CASE WHEN t.can_be_told THEN t.tesp_se END AS tesp_offset_se,
    r.q_value AS return_q_value,
    s.q_value AS supply_q_value,
    coalesce(
        abs(t.return_offset) >= getvariable('offset_material_inwc') AND r.q_value <= getvariable('technician_q'), FALSE
    ) AS return_doubtful,
    coalesce(
        abs(t.supply_offset) >= getvariable('offset_material_inwc') AND s.q_value <= getvariable('technician_q'), FALSE
    ) AS supply_doubtful,
    t.group_no
FROM told AS t
LEFT JOIN adjusted AS r ON t.measurer = r.measurer AND r.port = 'return'
LEFT JOIN adjusted AS s ON t.measurer = s.measurer AND s.port = 'supply'
ORDER BY ALL;
