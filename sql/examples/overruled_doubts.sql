-- How many levels were corrected for a doubtful zero, and would any unit's verdict lean on such visits alone?
SELECT
    static_state,
    count(*) AS n_units,
    count(*) FILTER (WHERE n_offset_corrected > 0) AS n_with_corrected,
    count(*) FILTER (WHERE n_offset_corrected = n_visits AND n_visits > 0) AS n_corrected_only
FROM site_static
GROUP BY static_state
ORDER BY static_state;
