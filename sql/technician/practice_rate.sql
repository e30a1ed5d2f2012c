-- Each technician's rate of each check against the fleet's, as for skipped zeroes: one-sided, over-dispersion included,
-- Benjamini-Hochberg over all technicians with enough visits and all checks of how readings are taken. A reason to look,
-- never proof of fault. Nobody is judged by what belongs to a unit or a gauge: fleet_rate is NULL there.
-- practice_fit comes from pipeline/technician/practice.py, in order.
CREATE OR REPLACE TABLE practice_rate AS
SELECT
    technician_id,
    check_id,
    n_visits,
    n_found,
    n_found / n_visits AS rate,
    wilson_lo(n_found, n_visits) AS rate_lo,
    wilson_hi(n_found, n_visits) AS rate_hi,
    shrunk_rate,
    fleet_rate,
    funnel_hi,
    q_value,
    CASE
        WHEN fleet_rate IS NULL THEN 'not_judged'
        WHEN n_visits < getvariable('technician_min_visits') THEN 'too_few_visits'
        WHEN q_value <= getvariable('technician_q') AND rate > fleet_rate THEN 'above_fleet'
        ELSE 'as_fleet'
    END AS practice_state
FROM practice_fit;
