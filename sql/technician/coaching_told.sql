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
    || printf('; offset over all visits %+.3f; zeros on record: ', offset_inwc),
    TRUE
FROM beside;

-- What zeros are on record of the visits with a reading of a doubtful zero. These are picked first: joined in one step,
-- DuckDB may put all visits into a hash table to look few up in it.
CREATE OR REPLACE TEMP TABLE coaching_zero_visit AS
SELECT rowid AS visit_row, visit_id
FROM staging.visit_measured
WHERE rowid IN (SELECT visit_row FROM coaching_look WHERE of_zero);

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
FROM coaching_zero_visit AS s
INNER JOIN visit AS v USING (visit_id);

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
