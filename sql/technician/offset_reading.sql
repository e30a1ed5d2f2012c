-- The readings that the crossed fit looks at: valid, like new, sides known; place = equipment, mode and segment.
-- Places and measurers are numbered once each and looked up: cheaper than ranking a million rows by their words.
CREATE OR REPLACE TABLE offset_reading AS
WITH looked_at AS (
    SELECT
        v.visit_id,
        v.site_id,
        v.equipment_id,
        v.mode,
        v.segment,
        v.technician_id,
        coalesce(v.instrument_id, '') AS instrument_id,
        v.return_inwc,
        v.supply_inwc,
        v.tesp_inwc
    FROM visit_static AS v
    WHERE v.like_new AND v.sides_known AND NOT v.on_work_day
),

place AS (
    SELECT equipment_id, mode, segment, row_number() OVER (ORDER BY equipment_id, mode, segment) - 1 AS place
    FROM (SELECT DISTINCT equipment_id, mode, segment FROM looked_at)
),

measurer AS (
    SELECT technician_id, instrument_id, row_number() OVER (ORDER BY technician_id, instrument_id) - 1 AS measurer
    FROM (SELECT DISTINCT technician_id, instrument_id FROM looked_at)
)

SELECT
    r.visit_id,
    r.site_id,
    r.technician_id,
    r.instrument_id,
    r.return_inwc,
    r.supply_inwc,
    r.tesp_inwc,
    p.place,
    m.measurer
FROM looked_at AS r
INNER JOIN place AS p USING (equipment_id, mode, segment)
INNER JOIN measurer AS m USING (technician_id, instrument_id)
ORDER BY r.visit_id;
