-- The readings that the crossed fit looks at: valid, like new, sides known; place = equipment, mode and segment.
CREATE OR REPLACE TABLE offset_reading AS
SELECT
    v.visit_id,
    v.site_id,
    v.technician_id,
    coalesce(v.instrument_id, '') AS instrument_id,
    v.return_inwc,
    v.supply_inwc,
    v.tesp_inwc,
    dense_rank() OVER (ORDER BY v.equipment_id, v.mode, s.segment) - 1 AS place,
    dense_rank() OVER (ORDER BY v.technician_id, coalesce(v.instrument_id, '')) - 1 AS measurer
FROM visit_static AS v
INNER JOIN visit_segment AS s USING (visit_id)
WHERE v.like_new AND v.sides_known AND NOT s.on_work_day
ORDER BY v.visit_id;
