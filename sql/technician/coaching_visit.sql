-- What is told (coaching_told.sql), of all to whom something is told.
CREATE OR REPLACE TABLE coaching_visit AS
SELECT * FROM coaching_told
ORDER BY technician_id, finding, visited_on, visit_id;
