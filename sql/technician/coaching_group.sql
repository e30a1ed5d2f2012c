-- What is told to whom: practices above the fleet's, and doubtful zeroes by gauge and port. Findings on fewer visits than
-- technician_min_visits do not exist, so nobody is named on them.
CREATE OR REPLACE TABLE coaching_group AS
SELECT technician_id, check_id AS finding, NULL::VARCHAR AS instrument_id, NULL::DOUBLE AS offset_inwc
FROM practice_rate
WHERE practice_state = 'above_fleet'
UNION
SELECT technician_id, 'zero_not_recorded', NULL, NULL
FROM technician_zeroing
WHERE zeroing_state = 'skips_zero'
UNION ALL
SELECT technician_id, 'hidden_offset_' || port, instrument_id, offset_inwc
FROM offset_port
WHERE is_doubtful;
