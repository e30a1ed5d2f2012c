-- What is told (coaching_told.sql), of all to whom something is told.
CREATE OR REPLACE TABLE coaching_visit ( -- noqa: PRS
    technician_id VARCHAR,
    finding VARCHAR,
    visit_id VARCHAR USING COMPRESSION uncompressed,
    visited_on DATE,
    site_id VARCHAR USING COMPRESSION uncompressed,
    equipment_id VARCHAR USING COMPRESSION uncompressed,
    mode VARCHAR,
    instrument_id VARCHAR,
    return_recorded DOUBLE,
    supply_recorded DOUBLE,
    pressure_unit VARCHAR,
    look_at VARCHAR
);

INSERT INTO coaching_visit BY NAME
SELECT * FROM coaching_told
ORDER BY technician_id, finding, visited_on, visit_id;
