-- The offsets of instrument_offset by port: a row per technician, instrument and port.
CREATE OR REPLACE TEMP VIEW offset_port AS
SELECT
    technician_id,
    instrument_id,
    'return' AS port,
    n_visits,
    return_offset_inwc AS offset_inwc,
    return_offset_se AS offset_se,
    return_doubtful AS is_doubtful
FROM instrument_offset
UNION ALL
SELECT technician_id, instrument_id, 'supply', n_visits, supply_offset_inwc, supply_offset_se, supply_doubtful
FROM instrument_offset;
