-- title: Last digits preferred
-- consequence: note
-- scope: fleet
-- why: Read to the gauge's last digit, one reading in five ends in 0 or 5. A technician far above that estimates or rounds: the visits named are those where both readings end so. A reason to coach, no proof.
-- Counted in count/last_digit_count.sql; visits are looked at for the few technicians alone that stand out.
WITH technician AS (
    SELECT
        c.technician_id,
        2 * sum(c.n_visits)::BIGINT AS n_readings,
        sum(
            CASE i.resolution_inwc WHEN 0.01 THEN c.n_end_of_2 WHEN 0.001 THEN c.n_end_of_3 ELSE c.n_end_of_4 END
        )::BIGINT AS n_ends
    FROM last_digit_count AS c
    INNER JOIN instrument AS i ON c.instrument_id = i.instrument_id
    -- Only gauges whose last digit runs from 0 to 9.
    WHERE i.resolution_inwc IN (0.01, 0.001, 0.0001)
    GROUP BY c.technician_id
    HAVING
        n_readings >= getvariable('digits_min_readings')
        AND wilson_lo(n_ends, n_readings) > getvariable('digits_share_limit')
)

SELECT
    v.visit_id,
    'note' AS consequence,
    format(
        '{:.0f} % of the technician''s {} readings end in 0 or 5 (95 %: {:.0f} to {:.0f} %), against 20 % by chance',
        100 * t.n_ends / t.n_readings, t.n_readings,
        100 * wilson_lo(t.n_ends, t.n_readings), 100 * wilson_hi(t.n_ends, t.n_readings)
    ) AS detail
FROM visit AS v
INNER JOIN technician AS t ON v.technician_id = t.technician_id
INNER JOIN instrument AS i ON v.instrument_id = i.instrument_id
WHERE
    v.pressure_unit = 'inwc'
    AND i.resolution_inwc IN (0.01, 0.001, 0.0001)
    AND round(v.return_static / i.resolution_inwc) % 5 = 0
    AND round(v.supply_static / i.resolution_inwc) % 5 = 0;
