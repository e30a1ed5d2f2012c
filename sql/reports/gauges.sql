-- Gauges whose offset moves over the years, or whose readings stepped at their calibration (its interval is on one
-- side of nothing): a row a gauge and port, drifting ones first, at most top.
WITH judged AS (
    SELECT
        *,
        drift_state = 'drifting' AS drifts,
        step_lo > 0 OR step_hi < 0 AS stepped
    FROM instrument_drift
)

SELECT
    instrument_id,
    port,
    n_visits,
    n_technicians,
    drift_state,
    slope_inwc_per_year,
    slope_lo,
    slope_hi,
    q_value,
    latest_offset_inwc,
    calibrated_on,
    step_inwc,
    step_lo,
    step_hi,
    material_on,
    advice
FROM judged
WHERE drifts OR stepped
ORDER BY drifts DESC, abs(slope_inwc_per_year) DESC NULLS LAST, instrument_id ASC, port ASC
LIMIT getvariable('top');
