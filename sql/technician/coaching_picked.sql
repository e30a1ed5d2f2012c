-- The findings and the readings behind what is told to technicians (coaching_group.sql).
-- In steps: few of many rows are picked, and the next step is planned for so few.
CREATE OR REPLACE TEMP TABLE coaching_picked AS
SELECT t.technician_id, g.finding, t.visit_row, t.finding_row
FROM technician_finding AS t
INNER JOIN coaching_group AS g ON t.technician_id = g.technician_id AND t.check_id = g.finding;

CREATE OR REPLACE TEMP TABLE coaching_own AS
SELECT
    g.technician_id,
    g.finding,
    split_part(g.finding, '_', 3) AS port,
    g.offset_inwc,
    r.place,
    r.visit_row,
    if(port = 'return', r.return_inwc, r.supply_inwc) AS value_inwc
FROM coaching_group AS g
INNER JOIN offset_measurer AS m
    ON g.technician_id = m.technician_id AND coalesce(g.instrument_id, '') = m.instrument_id
INNER JOIN offset_reading AS r ON m.measurer = r.measurer
WHERE g.offset_inwc IS NOT NULL;
