-- Gauges that drift, at the false-discovery rate of the run: a row a gauge and port, the steepest first, at most top. A
-- step at calibration is told beside, with its own interval: of many steps that are none, one in twenty leaves nothing out,
-- so no gauge is listed for its step alone.
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
FROM instrument_drift
WHERE drift_state = 'drifting'
ORDER BY abs(slope_inwc_per_year) DESC NULLS LAST, instrument_id ASC, port ASC
LIMIT getvariable('top');
