-- The visits whose readings the crossed fits look at: valid, like new, sides known, not on a day of work. Of a large fleet
-- those of closed months: what an offset rests on stands still until the month is over, and then moves for all at once.
CREATE OR REPLACE TABLE offset_bound AS
SELECT
    CASE
        WHEN count(*) >= getvariable('offsets_close_from_visits') THEN date_trunc('month', getvariable('today')::DATE)::DATE
    END AS visited_before
FROM staging.visit_measured;

CREATE OR REPLACE TEMP VIEW offset_visit AS
SELECT
    v.rowid AS visit_row,
    v.visit_id,
    v.equipment_id,
    v.equipment_no,
    v.mode,
    v.segment,
    v.technician_id,
    coalesce(v.instrument_id, '') AS instrument_id,
    v.visited_on,
    v.return_inwc,
    v.supply_inwc
FROM staging.visit_measured AS v
WHERE
    v.like_new AND v.sides_known AND NOT v.on_work_day
    AND v.visited_on < (SELECT coalesce(b.visited_before, DATE 'infinity') FROM offset_bound AS b);
