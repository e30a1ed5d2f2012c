-- title: Calibration long past
-- consequence: note
-- why: Makers and standards ask for a calibration each year; several times that is long past. A slow drift of the gain shows in no zero.
-- of: gauge
WITH due AS (
    SELECT
        instrument_id,
        format('gauge {} was last calibrated on {}', instrument_id, calibrated_on) AS detail,
        calibrated_on + getvariable('calibration_max_age_days')::INTEGER AS last_day
    FROM instrument
    WHERE calibrated_on IS NOT NULL
)

SELECT
    v.visit_id,
    'note' AS consequence,
    d.detail
FROM visit AS v
INNER JOIN due AS d ON v.instrument_id = d.instrument_id
WHERE v.visited_on > d.last_day;
