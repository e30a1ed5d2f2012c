-- The verdicts under the names of equipment and mode (unit_verdict.sql).
CREATE OR REPLACE VIEW site_static AS
SELECT
    * EXCLUDE (unit_no, equipment_no, last_valid_on, in_service, site_no, equipment_kind, motor_kind, installed_on),
    equipment_kind,
    in_service
FROM staging.unit_verdict;
