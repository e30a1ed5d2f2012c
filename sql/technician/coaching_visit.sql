-- The visits behind each coaching finding, to look at together with the technician: every visit of a practice that is
-- above the fleet's, and every reading of a doubtful zero beside what others read at the same place. A reason to coach,
-- never proof of fault; findings on fewer visits than technician_min_visits do not exist, so nobody is named on them.
CREATE OR REPLACE TABLE coaching_visit AS
WITH named_practice AS (
    SELECT technician_id, check_id
    FROM practice_rate
    WHERE practice_state = 'above_fleet'
    UNION
    SELECT technician_id, 'zero_not_recorded'
    FROM technician_zeroing
    WHERE zeroing_state = 'skips_zero'
),

practice AS (
    SELECT
        n.technician_id,
        n.check_id AS finding,
        f.visit_id,
        c.title || coalesce(': ' || string_agg(f.detail, '; ' ORDER BY f.detail), '') AS look_at
    FROM named_practice AS n
    INNER JOIN visit_static AS v USING (technician_id)
    INNER JOIN finding AS f ON v.visit_id = f.visit_id AND n.check_id = f.check_id
    INNER JOIN check_catalog AS c ON n.check_id = c.check_id
    GROUP BY n.technician_id, n.check_id, f.visit_id, c.title
),

doubtful AS (
    SELECT technician_id, instrument_id, 'return' AS port, return_offset_inwc AS offset_inwc
    FROM instrument_offset
    WHERE return_doubtful
    UNION ALL
    SELECT technician_id, instrument_id, 'supply', supply_offset_inwc
    FROM instrument_offset
    WHERE supply_doubtful
),

read_by_port AS (
    SELECT place, visit_id, technician_id, instrument_id, 'return' AS port, return_inwc AS value_inwc
    FROM offset_reading
    UNION ALL
    SELECT place, visit_id, technician_id, instrument_id, 'supply', supply_inwc
    FROM offset_reading
),

own AS (
    SELECT d.technician_id, d.port, d.offset_inwc, r.place, r.visit_id, r.instrument_id, r.value_inwc
    FROM doubtful AS d
    INNER JOIN read_by_port AS r
        ON
            d.technician_id = r.technician_id
            AND coalesce(d.instrument_id, '') = r.instrument_id
            AND d.port = r.port
),

beside AS (
    SELECT
        o.technician_id,
        o.port,
        o.visit_id,
        any_value(o.offset_inwc) AS offset_inwc,
        any_value(o.value_inwc) AS value_inwc,
        count(r.visit_id) AS n_others,
        median(r.value_inwc) AS others_inwc
    FROM own AS o
    LEFT JOIN read_by_port AS r
        ON o.place = r.place AND o.port = r.port AND o.technician_id <> r.technician_id
    GROUP BY o.technician_id, o.port, o.visit_id
),

shifted AS (
    SELECT
        b.technician_id,
        'hidden_offset_' || b.port AS finding,
        b.visit_id,
        printf('%s %.3f in. w.c.; ', b.port, b.value_inwc)
        || CASE
            WHEN b.n_others > 0
                THEN printf('others at this unit, mode and state: median %.3f of %d', b.others_inwc, b.n_others)
            ELSE 'nobody else read this unit, mode and state'
        END
        || printf('; offset over all visits %+.3f; zeros on record: ', b.offset_inwc)
        || CASE
            WHEN v.zero_return IS NULL AND v.zero_supply IS NULL AND v.zeroed_at IS NULL THEN 'none'
            WHEN v.zero_return IS NULL AND v.zero_supply IS NULL THEN 'the time only'
            ELSE printf(
                'return %s, supply %s',
                coalesce(v.zero_return::VARCHAR, 'not written'),
                coalesce(v.zero_supply::VARCHAR, 'not written')
            )
        END AS look_at
    FROM beside AS b
    INNER JOIN visit AS v USING (visit_id)
)

SELECT
    f.technician_id,
    f.finding,
    f.visit_id,
    v.visited_on,
    v.site_id,
    v.equipment_id,
    v.mode,
    v.instrument_id,
    v.return_recorded,
    v.supply_recorded,
    v.pressure_unit,
    f.look_at
FROM (
    SELECT technician_id, finding, visit_id, look_at FROM practice
    UNION ALL
    SELECT technician_id, finding, visit_id, look_at FROM shifted
) AS f
INNER JOIN visit_static AS v USING (visit_id)
ORDER BY f.technician_id, f.finding, v.visited_on, f.visit_id;
