-- The readings of each loaded visit and whether they count: what visit_static says without a look at the equipment, for
-- who asks for a few visits. Of visit_static all equipment would be looked up for them.
CREATE OR REPLACE VIEW visit_reading AS
SELECT
    visit_id,
    equipment_id,
    visited_at,
    visited_on,
    mode::VARCHAR AS mode,
    return_inwc,
    supply_inwc,
    supply_inwc - return_inwc AS tesp_inwc,
    u_tesp_inwc,
    set_aside_because IS NULL AS valid,
    like_new,
    return_recorded,
    supply_recorded,
    pressure_unit::VARCHAR AS pressure_unit,
    repairs
FROM staging.visit_measured;
