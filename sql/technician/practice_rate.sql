-- Each technician's rate of each check against the fleet's, as for skipped zeroes: one-sided, over-dispersion included,
-- Benjamini-Hochberg over all technicians with enough visits and all checks. A reason to look, never proof of fault.
CREATE OR REPLACE TABLE practice_rate AS
WITH ranked AS (
    SELECT
        technician_id,
        check_id,
        p_value,
        count(*) OVER () AS family,
        row_number() OVER (ORDER BY p_value, check_id, technician_id) AS place_in_family
    FROM practice_fit
    WHERE n_visits >= getvariable('technician_min_visits')
),

adjusted AS (
    SELECT
        technician_id,
        check_id,
        least(1, min(p_value * family / place_in_family) OVER (ORDER BY place_in_family DESC)) AS q_value
    FROM ranked
)

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
    a.q_value,
    CASE
        WHEN p.n_visits < getvariable('technician_min_visits') THEN 'too_few_visits'
        WHEN a.q_value <= getvariable('technician_q') AND rate > p.fleet_rate THEN 'above_fleet'
        ELSE 'as_fleet'
    END AS practice_state
FROM practice_fit AS p
LEFT JOIN adjusted AS a USING (technician_id, check_id)
ORDER BY p.technician_id, p.check_id;
