-- The stretches between works of each unit that was worked on: every kind of work but `other` and `filter_changed`
-- starts a new one (data contract, "Since the last work"). A stretch begins on the day of the work and ends the day
-- before the next; the one before the first work is stretch 0.
CREATE OR REPLACE TABLE work_stretch AS
WITH work_day AS (
    SELECT DISTINCT equipment_id, done_on
    FROM work
    WHERE work_kind NOT IN ('other', 'filter_changed') AND done_on <= getvariable('today')
),

start AS (
    SELECT equipment_id, done_on AS from_on, done_on AS work_on
    FROM work_day
    UNION ALL
    SELECT DISTINCT equipment_id, '-infinity'::DATE, NULL
    FROM work_day
)

SELECT
    equipment_id,
    row_number() OVER along - 1 AS segment,
    from_on,
    lead(from_on, 1, 'infinity'::DATE) OVER along AS until_on,
    work_on,
    max(work_on) OVER (PARTITION BY equipment_id) AS last_work_on
FROM start
WINDOW along AS (PARTITION BY equipment_id ORDER BY from_on);
