-- The visits behind each coaching finding, to look at together with the technician: every visit of a practice that is
-- above the fleet's, and every reading of a doubtful zero beside what others read at the same place. A reason to coach,
-- never proof of fault; findings on fewer visits than technician_min_visits do not exist, so nobody is named on them.
-- In steps: few of many rows are picked, and the next step is planned for so few.
CREATE OR REPLACE TEMP TABLE coaching_picked AS
WITH named_practice AS (
    SELECT technician_id, check_id
    FROM practice_rate
    WHERE practice_state = 'above_fleet'
    UNION
    SELECT technician_id, 'zero_not_recorded'
    FROM technician_zeroing
    WHERE zeroing_state = 'skips_zero'
)

SELECT t.technician_id, t.check_id, t.visit_row, t.finding_row
FROM technician_finding AS t
INNER JOIN named_practice AS n USING (technician_id, check_id);

CREATE OR REPLACE TEMP TABLE coaching_look AS
WITH doubtful AS (
    SELECT technician_id, instrument_id, 'return' AS port, return_offset_inwc AS offset_inwc
    FROM instrument_offset
    WHERE return_doubtful
    UNION ALL
    SELECT technician_id, instrument_id, 'supply', supply_offset_inwc
    FROM instrument_offset
    WHERE supply_doubtful
),

own AS (
    SELECT
        d.technician_id,
        d.port,
        d.offset_inwc,
        r.place,
        r.visit_row,
        if(d.port = 'return', r.return_inwc, r.supply_inwc) AS value_inwc
    FROM doubtful AS d
    INNER JOIN offset_measurer AS m
        ON d.technician_id = m.technician_id AND coalesce(d.instrument_id, '') = m.instrument_id
    INNER JOIN offset_reading AS r USING (measurer)
),

near AS (
    SELECT r.place, m.technician_id, r.return_inwc, r.supply_inwc
    FROM offset_reading AS r
    INNER JOIN offset_measurer AS m USING (measurer)
    WHERE r.place IN (SELECT place FROM own)
),

beside AS (
    SELECT
        o.technician_id,
        o.port,
        o.visit_row,
        any_value(o.offset_inwc) AS offset_inwc,
        any_value(o.value_inwc) AS value_inwc,
        count(r.place) AS n_others,
        median(if(o.port = 'return', r.return_inwc, r.supply_inwc)) AS others_inwc
    FROM own AS o
    LEFT JOIN near AS r ON o.place = r.place AND o.technician_id <> r.technician_id
    GROUP BY o.technician_id, o.port, o.visit_row
)

SELECT
    p.technician_id,
    p.check_id AS finding,
    p.visit_row,
    c.title || coalesce(': ' || f.detail, '') AS look_at,
    FALSE AS of_zero
FROM coaching_picked AS p
INNER JOIN finding AS f ON p.finding_row = f.rowid
INNER JOIN check_catalog AS c ON p.check_id = c.check_id
UNION ALL
SELECT
    technician_id,
    'hidden_offset_' || port,
    visit_row,
    printf('%s %.3f in. w.c.; ', port, value_inwc)
    || CASE
        WHEN n_others > 0
            THEN printf('others at this unit, mode and state: median %.3f of %d', others_inwc, n_others)
        ELSE 'nobody else read this unit, mode and state'
    END
    || printf('; offset over all visits %+.3f; zeros on record: ', offset_inwc),
    TRUE
FROM beside;

-- What zeros are on record of the visits with a reading of a doubtful zero.
CREATE OR REPLACE TEMP TABLE coaching_zero AS
SELECT
    s.visit_row,
    CASE
        WHEN v.zero_return IS NULL AND v.zero_supply IS NULL AND v.zeroed_at IS NULL THEN 'none'
        WHEN v.zero_return IS NULL AND v.zero_supply IS NULL THEN 'the time only'
        ELSE printf(
            'return %s, supply %s',
            coalesce(v.zero_return::VARCHAR, 'not written'),
            coalesce(v.zero_supply::VARCHAR, 'not written')
        )
    END AS told
FROM (
    SELECT rowid AS visit_row, visit_id
    FROM staging.visit_measured
    WHERE rowid IN (SELECT visit_row FROM coaching_look WHERE of_zero)
) AS s
INNER JOIN visit AS v USING (visit_id);

CREATE OR REPLACE TABLE coaching_visit AS
SELECT
    f.technician_id,
    f.finding,
    v.visit_id,
    v.visited_on,
    e.site_id,
    v.equipment_id,
    v.mode,
    v.instrument_id,
    v.return_recorded,
    v.supply_recorded,
    v.pressure_unit::VARCHAR AS pressure_unit,
    f.look_at || CASE WHEN f.of_zero THEN z.told ELSE '' END AS look_at
FROM coaching_look AS f
INNER JOIN staging.visit_measured AS v ON f.visit_row = v.rowid
INNER JOIN equipment AS e ON v.equipment_id = e.equipment_id
LEFT JOIN coaching_zero AS z ON f.visit_row = z.visit_row
ORDER BY f.technician_id, f.finding, v.visited_on, v.visit_id;
