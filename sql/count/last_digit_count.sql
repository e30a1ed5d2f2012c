-- How many readings of each technician with each gauge end in 0 or 5, if 0.01, 0.001 or 0.0001 in. w.c. is the last that
-- the gauge shows (checks/digits_preferred.sql asks which it is). Readings in the gauge's own unit only.
CREATE OR REPLACE TABLE last_digit_count AS
SELECT
    technician_id,
    instrument_id,
    sum(times)::BIGINT AS n_visits,
    sum(if(round(return_static / 0.01) % 5 = 0, times, 0))::BIGINT
    + sum(if(round(supply_static / 0.01) % 5 = 0, times, 0))::BIGINT AS n_end_of_2,
    sum(if(round(return_static / 0.001) % 5 = 0, times, 0))::BIGINT
    + sum(if(round(supply_static / 0.001) % 5 = 0, times, 0))::BIGINT AS n_end_of_3,
    sum(if(round(return_static / 0.0001) % 5 = 0, times, 0))::BIGINT
    + sum(if(round(supply_static / 0.0001) % 5 = 0, times, 0))::BIGINT AS n_end_of_4
FROM counted_reading
WHERE pressure_unit = 'inwc' AND instrument_id IS NOT NULL
GROUP BY technician_id, instrument_id;
