-- Each technician's rate of each check against the fleet's, as for skipped zeroes: one-sided, over-dispersion included,
-- Benjamini-Hochberg over all technicians with enough visits and all checks. A reason to look, never proof of fault.
CREATE OR REPLACE TEMP TABLE practice_tested AS
SELECT technician_id, check_id, p_value
FROM practice_fit
WHERE n_visits >= getvariable('technician_min_visits');

CREATE OR REPLACE TABLE practice_rate AS
SELECT
    p.technician_id,
    p.check_id,
    p.n_visits,
    p.n_found,
    p.n_found / p.n_visits AS rate,
    wilson_lo(p.n_found, p.n_visits) AS rate_lo,
    wilson_hi(p.n_found, p.n_visits) AS rate_hi,
    p.shrunk_rate,
    p.fleet_rate,
    p.funnel_hi,
    a.q_bh AS q_value,
    CASE
        WHEN p.n_visits < getvariable('technician_min_visits') THEN 'too_few_visits'
        WHEN a.q_bh <= getvariable('technician_q') AND rate > p.fleet_rate THEN 'above_fleet'
        ELSE 'as_fleet'
    END AS practice_state
FROM practice_fit AS p
LEFT JOIN bh_adjusted('practice_tested') AS a USING (technician_id, check_id)
ORDER BY p.technician_id, p.check_id;
