-- Work rows whose equipment is unknown.
CREATE OR REPLACE TABLE orphan_work AS
SELECT
    w.row_id,
    'equipment_unknown' AS reason,
    'equipment_id holds ' || shown(w.equipment_id) || ', expected an equipment_id of the equipment table' AS detail
FROM asked_work AS w
ANTI JOIN equipment AS e ON w.equipment_id = e.equipment_id;
