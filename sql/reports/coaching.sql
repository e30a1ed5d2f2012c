-- Technicians to coach, with the reason's figures: skipped zeroes first, then readings that shift. At most top rows.
-- q_value: of the reason's own test, skipping or offset. Only technicians with the minimum of visits are named. The offsets
-- of both ports and of the total are those with the instrument of the hidden offset (technician_zeroing.sql), of the total
-- its size with its 95 % interval (1.96 standard errors).
WITH limits AS (
    SELECT setting.value AS min_visits
    FROM setting
    WHERE setting.name = 'technician_min_visits'
),

ports AS (
    SELECT
        technician_id,
        coalesce(instrument_id, '') AS instrument_id,
        'return' AS port,
        n_visits,
        return_offset_inwc AS offset_inwc,
        return_doubtful AS is_doubtful
    FROM instrument_offset
    UNION ALL
    SELECT
        technician_id,
        coalesce(instrument_id, '') AS instrument_id,
        'supply' AS port,
        n_visits,
        supply_offset_inwc AS offset_inwc,
        supply_doubtful AS is_doubtful
    FROM instrument_offset
),

hidden AS (
    SELECT
        ports.technician_id,
        arg_max(ports.instrument_id, (ports.is_doubtful, abs(ports.offset_inwc), ports.offset_inwc)) AS instrument_id,
        arg_max(ports.port, (ports.is_doubtful, abs(ports.offset_inwc), ports.offset_inwc)) AS port
    FROM ports, limits
    WHERE ports.offset_inwc IS NOT NULL AND ports.n_visits >= limits.min_visits
    GROUP BY ports.technician_id
),

offset_test AS (
    SELECT
        technician_id,
        min(q_value) AS q_value
    FROM instrument_offset
    GROUP BY technician_id
),

follows AS (
    SELECT
        technician_id,
        arg_max(follows, abs(offset_inwc)) AS follows
    FROM offset_follows
    GROUP BY technician_id
)

SELECT
    z.technician_id,
    z.branch,
    t.trained_on,
    z.zeroing_state,
    z.n_visits,
    z.n_not_zeroed,
    z.skip_rate,
    z.skip_lo,
    z.skip_hi,
    z.shrunk_skip_rate,
    z.fleet_skip_rate,
    CASE WHEN z.zeroing_state = 'skips_zero' THEN z.q_value ELSE o.q_value END AS q_value,
    z.hidden_offset_inwc,
    h.port AS hidden_port,
    i.instrument_id,
    i.n_visits AS n_offset_visits,
    i.return_offset_inwc,
    i.supply_offset_inwc,
    i.tesp_offset_inwc,
    abs(i.tesp_offset_inwc) AS total_off_inwc,
    abs(i.tesp_offset_inwc) - 1.96 * i.tesp_offset_se AS total_off_lo_inwc,
    abs(i.tesp_offset_inwc) + 1.96 * i.tesp_offset_se AS total_off_hi_inwc,
    follows.follows,
    count(*) OVER () AS n_to_coach
FROM technician_zeroing AS z
LEFT JOIN technician AS t ON z.technician_id = t.technician_id
LEFT JOIN follows ON z.technician_id = follows.technician_id
LEFT JOIN offset_test AS o ON z.technician_id = o.technician_id
LEFT JOIN hidden AS h ON z.technician_id = h.technician_id
LEFT JOIN instrument_offset AS i ON h.technician_id = i.technician_id AND h.instrument_id = coalesce(i.instrument_id, '')
WHERE
    z.zeroing_state IN ('skips_zero', 'zero_doubtful')
    AND z.n_visits >= (SELECT limits.min_visits FROM limits)
ORDER BY z.zeroing_state ASC, z.skip_lo DESC, abs(z.hidden_offset_inwc) DESC, z.technician_id ASC
LIMIT getvariable('top');
