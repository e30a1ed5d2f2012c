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
SELECT technician_id, 'hidden_offset_return', instrument_id, return_offset_inwc
FROM instrument_offset
WHERE return_doubtful
UNION ALL
SELECT technician_id, 'hidden_offset_supply', instrument_id, supply_offset_inwc
FROM instrument_offset
WHERE supply_doubtful;
