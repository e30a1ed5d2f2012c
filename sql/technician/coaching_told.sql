-- The visits behind each coaching finding, to look at together with the technician: every visit of a practice that is
-- above the fleet's, and every reading of a doubtful zero beside what others read at the same place. A reason to coach,
-- never proof of fault.
CREATE OR REPLACE TEMP TABLE coaching_look AS
WITH near AS (
    SELECT r.place, m.technician_id, r.return_inwc, r.supply_inwc
    FROM offset_reading AS r
    INNER JOIN offset_measurer AS m USING (measurer)
    WHERE r.place IN (SELECT place FROM coaching_own)
),

beside AS (
    SELECT
        o.technician_id,
        o.finding,
        o.port,
        o.visit_row,
        any_value(o.offset_inwc) AS offset_inwc,
        any_value(o.value_inwc) AS value_inwc,
        count(r.place) AS n_others,
        median(if(o.port = 'return', r.return_inwc, r.supply_inwc)) AS others_inwc
    FROM coaching_own AS o
    LEFT JOIN near AS r ON o.place = r.place AND o.technician_id <> r.technician_id
    GROUP BY o.technician_id, o.finding, o.port, o.visit_row
)

SELECT
    p.technician_id,
    p.finding,
    p.visit_row,
    c.title || coalesce(': ' || f.detail, '') AS look_at,
    FALSE AS of_zero
FROM coaching_picked AS p
INNER JOIN finding AS f ON p.finding_row = f.rowid
INNER JOIN check_catalog AS c ON p.finding = c.check_id
UNION ALL
SELECT
    technician_id,
    finding,
    visit_row,
    printf('%s %.3f in. w.c.; ', port, value_inwc)
    || CASE
        WHEN n_others > 0
            THEN printf('others at this unit, mode and state: median %.3f of %d', others_inwc, n_others)
        ELSE 'nobody else read this unit, mode and state'
    END
    || printf('; offset over all visits %+.3f in. w.c.; zeros on record: ', offset_inwc),
    TRUE
FROM beside;

-- What zeros are on record of the visits with a reading of a doubtful zero. These are picked first: joined in one step,
-- DuckDB may put all visits into a hash table to look few up in it.
CREATE OR REPLACE TEMP TABLE coaching_zero_visit AS
SELECT
    v.rowid AS visit_row,
    v.visit_id,
    coalesce(NOT n.zeros_kept_unit, FALSE) AS unit_mended
FROM staging.visit_measured AS v
LEFT JOIN noticed_reading AS n ON v.visit_id = n.visit_id AND n.unit_repaired
WHERE v.rowid IN (SELECT visit_row FROM coaching_look WHERE of_zero);

-- Zeros are told in in. w.c., as they were used, and as they were written where that is another unit.
CREATE OR REPLACE TEMP TABLE coaching_zero AS
WITH taken AS (
    SELECT
        s.visit_row,
        v.zeroed_at,
        v.zero_return,
        v.zero_supply,
        coalesce(v.pressure_unit, 'inwc')::VARCHAR AS unit,
        CASE WHEN NOT s.unit_mended THEN unit WHEN unit = 'pa' THEN 'inwc' ELSE 'pa' END AS unit_taken
    FROM coaching_zero_visit AS s
    INNER JOIN visit AS v USING (visit_id)
),

worded AS (
    SELECT
        *,
        unit_words(unit) || if(unit_taken = unit, '', ', read as ' || unit_words(unit_taken)) AS recorded_in,
        list_transform(
            [zero_return, zero_supply],
            LAMBDA z: coalesce(
                printf('%.3f in. w.c.', round(to_inwc(z, unit_taken), 3) + 0)
                || if(unit = 'inwc' AND unit_taken = 'inwc', '', ' (recorded ' || z::VARCHAR || ' ' || recorded_in || ')'),
                'not written'
            )
        ) AS ports
    FROM taken
)

SELECT
    visit_row,
    CASE
        WHEN zero_return IS NULL AND zero_supply IS NULL AND zeroed_at IS NULL THEN 'none'
        WHEN zero_return IS NULL AND zero_supply IS NULL THEN 'the time only'
        ELSE printf('return %s, supply %s', ports[1], ports[2])
    END AS told
FROM worded;

CREATE OR REPLACE TEMP VIEW coaching_told AS
SELECT
    f.technician_id,
    f.finding,
    v.visit_id,
    v.visited_on,
    e.site_id,
    v.equipment_id,
    v.mode::VARCHAR AS mode,
    v.instrument_id,
    v.return_recorded,
    v.supply_recorded,
    v.pressure_unit::VARCHAR AS pressure_unit,
    f.look_at || CASE WHEN f.of_zero THEN z.told ELSE '' END AS look_at
FROM coaching_look AS f
INNER JOIN staging.visit_measured AS v ON f.visit_row = v.rowid
INNER JOIN equipment AS e ON v.equipment_id = e.equipment_id
LEFT JOIN coaching_zero AS z ON f.visit_row = z.visit_row;
