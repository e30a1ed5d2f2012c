-- Equipment numbered; a unit is one of its modes: whatever is counted, joined and sorted visit by visit goes by the
-- number. A number once given stays; new equipment is numbered on, in the order of its names. No result depends on the
-- numbers, and the names come back where a table is published.
CREATE TABLE IF NOT EXISTS staging.equipment_number ( -- noqa: PRS
    equipment_id VARCHAR USING COMPRESSION uncompressed,
    equipment_no INTEGER
);

INSERT INTO staging.equipment_number
SELECT
    e.equipment_id,
    row_number() OVER (ORDER BY e.equipment_id) - 1
    + coalesce((SELECT max(equipment_no) + 1 FROM staging.equipment_number), 0)
FROM equipment AS e
ANTI JOIN staging.equipment_number AS n ON e.equipment_id = n.equipment_id;
