-- Sites and equipment numbered; a unit is one of the equipment's modes: whatever is counted, joined and sorted visit by
-- visit goes by the number. A number once given stays; what is new is numbered on, in the order of its names. No result
-- depends on the numbers, and the names come back where a table is published.
CREATE TABLE IF NOT EXISTS staging.site_number ( -- noqa: PRS
    site_id VARCHAR USING COMPRESSION uncompressed,
    site_no INTEGER
);

CREATE TABLE IF NOT EXISTS staging.equipment_number ( -- noqa: PRS
    equipment_id VARCHAR USING COMPRESSION uncompressed,
    equipment_no INTEGER
);

INSERT INTO staging.site_number
SELECT
    s.site_id,
    row_number() OVER (ORDER BY s.site_id) - 1 + coalesce((SELECT max(site_no) + 1 FROM staging.site_number), 0)
FROM site AS s
ANTI JOIN staging.site_number AS n ON s.site_id = n.site_id;

INSERT INTO staging.equipment_number
SELECT
    e.equipment_id,
    row_number() OVER (ORDER BY e.equipment_id) - 1
    + coalesce((SELECT max(equipment_no) + 1 FROM staging.equipment_number), 0)
FROM equipment AS e
ANTI JOIN staging.equipment_number AS n ON e.equipment_id = n.equipment_id;
