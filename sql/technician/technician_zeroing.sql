-- A row per technician with any loaded visit: how often zeroing is skipped, and whether zeros on record hold.
-- A reason to coach, never proof of fault. practice_fit comes from pipeline/technician/practice.py.
CREATE OR REPLACE TEMP TABLE zeroing_tested AS
SELECT technician_id, p_value
FROM practice_fit
WHERE check_id = 'zero_not_recorded' AND n_visits >= getvariable('technician_min_visits');

CREATE OR REPLACE TABLE technician_zeroing AS
WITH hidden AS (
    SELECT
        technician_id,
        bool_or(is_doubtful) AS is_doubtful,
        -- Offsets are told to the thousandth: many tie.
        arg_min(
            struct_pack(offset_inwc, port, instrument_id),
            (NOT is_doubtful, -abs(offset_inwc), -offset_inwc, coalesce(instrument_id, ''), port)
        ) FILTER (WHERE n_visits >= getvariable('technician_min_visits')) AS largest
    FROM offset_port
    WHERE offset_inwc IS NOT NULL
    GROUP BY technician_id
)

SELECT
    f.technician_id,
    t.branch,
    f.n_visits,
    f.n_found AS n_not_zeroed,
    f.n_found / f.n_visits AS skip_rate,
    wilson_lo(f.n_found, f.n_visits) AS skip_lo,
    wilson_hi(f.n_found, f.n_visits) AS skip_hi,
    f.shrunk_rate AS shrunk_skip_rate,
    f.fleet_rate AS fleet_skip_rate,
    f.funnel_hi,
    a.q_bh AS q_value,
    h.largest.offset_inwc AS hidden_offset_inwc,
    h.largest.port AS hidden_port,
    h.largest.instrument_id AS hidden_instrument_id,
    CASE
        WHEN f.n_visits < getvariable('technician_min_visits') THEN 'too_few_visits'
        WHEN a.q_bh <= getvariable('technician_q') AND skip_rate > f.fleet_rate THEN 'skips_zero'
        WHEN h.is_doubtful THEN 'zero_doubtful'
        ELSE 'zeroes'
    END AS zeroing_state,
    coalesce(h.is_doubtful, FALSE) AS offset_doubtful
FROM practice_fit AS f
INNER JOIN technician AS t USING (technician_id)
LEFT JOIN bh_adjusted('zeroing_tested') AS a USING (technician_id)
LEFT JOIN hidden AS h USING (technician_id)
WHERE f.check_id = 'zero_not_recorded'
ORDER BY f.technician_id;
