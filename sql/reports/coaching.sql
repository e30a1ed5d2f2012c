-- Technicians to coach, with the reason's figures: skipped zeroes first, then readings that shift. At most top rows.
-- q_value: of the reason's own test, skipping or offset. Only technicians with the minimum of visits are named.
WITH offset_test AS (
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
    follows.follows,
    count(*) OVER () AS n_to_coach
FROM technician_zeroing AS z
LEFT JOIN technician AS t ON z.technician_id = t.technician_id
LEFT JOIN follows ON z.technician_id = follows.technician_id
LEFT JOIN offset_test AS o ON z.technician_id = o.technician_id
WHERE
    z.zeroing_state IN ('skips_zero', 'zero_doubtful')
    AND z.n_visits >= (
        SELECT setting.value FROM setting
        WHERE setting.name = 'technician_min_visits'
    )
ORDER BY z.zeroing_state ASC, z.skip_lo DESC, abs(z.hidden_offset_inwc) DESC, z.technician_id ASC
LIMIT getvariable('top');
