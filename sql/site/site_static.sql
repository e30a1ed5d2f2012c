-- The verdicts under the names of equipment and mode (unit_verdict.sql).
CREATE OR REPLACE TABLE site_static AS
SELECT * EXCLUDE (unit_no, equipment_no, last_valid_on)
FROM unit_verdict
ORDER BY unit_no;
