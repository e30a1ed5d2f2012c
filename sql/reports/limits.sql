-- The thresholds that the pages name in words.
SELECT
    setting.name,
    setting.value,
    setting.unit
FROM setting
WHERE
    setting.name IN (
        'min_visits', 'min_span_days', 'chronic_probability', 'within_probability', 'technician_min_visits',
        'technician_q', 'offset_material_inwc', 'offset_min_group', 'offset_min_voices', 'gate_rejected_share', 'trend_min_visits', 'trend_min_span_days', 'trend_q'
    )
ORDER BY setting.name;
