-- Work rows whose equipment is unknown.
CREATE OR REPLACE TABLE orphan_work AS
SELECT
    w.rowid AS row_id,
    'equipment_unknown' AS reason,
    'equipment_id holds ' || shown(w.equipment_id) || ', expected an equipment_id of the equipment table' AS detail
FROM staging.work AS w
ANTI JOIN equipment AS e ON w.equipment_id = e.equipment_id
WHERE w.wrong IS NULL;
