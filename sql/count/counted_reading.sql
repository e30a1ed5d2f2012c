-- The readings of which last_digit_count.sql counts, over everything: those of every visit once. A day's drop counts only
-- the visits that came, went or changed (`times` is -1 of those that went): pipeline/day/counts.py.
CREATE OR REPLACE TEMP VIEW counted_reading AS
SELECT technician_id, instrument_id, pressure_unit, return_static, supply_static, 1 AS times
FROM visit;
