-- Hidden offsets: how far a technician's readings with one instrument lie from what others find at the same sites,
-- a row a port, with its 95 % interval (1.96 standard errors). Only pairs with the minimum of visits, of n_pairs the top
-- largest, largest first.
WITH ports AS (
    SELECT
        technician_id,
        instrument_id,
        n_visits,
        n_sites,
        q_value,
        'return' AS port,
        return_offset_inwc AS offset_inwc,
        return_offset_se AS offset_se
    FROM instrument_offset
    UNION ALL
    SELECT
        technician_id,
        instrument_id,
        n_visits,
        n_sites,
        q_value,
        'supply' AS port,
        supply_offset_inwc AS offset_inwc,
        supply_offset_se AS offset_se
    FROM instrument_offset
),

named AS (
    SELECT
        *,
        max(abs(offset_inwc)) OVER (PARTITION BY technician_id, instrument_id) AS largest
    FROM ports
    WHERE
        offset_inwc IS NOT NULL
        AND n_visits >= (
            SELECT setting.value FROM setting
            WHERE setting.name = 'technician_min_visits'
        )
)

SELECT
    technician_id,
    instrument_id,
    n_visits,
    n_sites,
    port,
    offset_inwc,
    offset_inwc - 1.96 * offset_se AS offset_lo_inwc,
    offset_inwc + 1.96 * offset_se AS offset_hi_inwc,
    q_value,
    (SELECT count(*) FROM (SELECT DISTINCT named.technician_id, named.instrument_id FROM named)) AS n_pairs
FROM named
QUALIFY dense_rank() OVER (ORDER BY largest DESC, technician_id ASC, instrument_id ASC) <= getvariable('top')
ORDER BY largest DESC, technician_id ASC, instrument_id ASC, port ASC;
