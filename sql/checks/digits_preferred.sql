-- title: Last digits preferred
-- consequence: note
-- scope: fleet
-- why: Read to the gauge's last digit, one reading in five ends in 0 or 5. A technician far above that estimates or rounds: the visits named are those where both readings end so. A reason to coach, no proof.
-- The steps are worked out twice: for the few technicians that stand out without the rest.
WITH steps AS NOT MATERIALIZED (
    SELECT
        v.visit_id,
        v.technician_id,
        round(v.return_static / i.resolution_inwc)::BIGINT % 5 = 0 AS return_ends,
        round(v.supply_static / i.resolution_inwc)::BIGINT % 5 = 0 AS supply_ends
    FROM visit AS v
    INNER JOIN instrument AS i ON v.instrument_id = i.instrument_id
    -- In the gauge's own unit only, and only where its last digit runs from 0 to 9.
    WHERE v.pressure_unit = 'inwc' AND i.resolution_inwc IN (0.01, 0.001, 0.0001)
),

technician AS (
    SELECT
        technician_id,
        2 * count(*) AS n_readings,
        count(*) FILTER (WHERE return_ends) + count(*) FILTER (WHERE supply_ends) AS n_ends
    FROM steps
    GROUP BY technician_id
    HAVING
        n_readings >= getvariable('digits_min_readings')
        AND wilson_lo(n_ends, n_readings) > getvariable('digits_share_limit')
)

SELECT
    s.visit_id,
    'note' AS consequence,
    format(
        '{:.0f} % of the technician''s {} readings end in 0 or 5 (95 %: {:.0f} to {:.0f} %), against 20 % by chance',
        100 * t.n_ends / t.n_readings, t.n_readings,
        100 * wilson_lo(t.n_ends, t.n_readings), 100 * wilson_hi(t.n_ends, t.n_readings)
    ) AS detail
FROM steps AS s
INNER JOIN technician AS t ON s.technician_id = t.technician_id
WHERE s.return_ends AND s.supply_ends;
