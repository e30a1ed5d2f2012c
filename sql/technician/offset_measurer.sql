-- A measurer is a technician with an instrument. They go by numbers: words are dear to join.
CREATE OR REPLACE TABLE offset_measurer AS
SELECT
    (row_number() OVER (ORDER BY r.technician_id, r.instrument_id) - 1)::INTEGER AS measurer,
    r.technician_id,
    r.instrument_id,
    i.calibrated_on
FROM (SELECT DISTINCT technician_id, instrument_id FROM offset_visit) AS r
LEFT JOIN instrument AS i ON r.instrument_id = i.instrument_id;
