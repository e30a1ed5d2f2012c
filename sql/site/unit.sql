-- Equipment numbered in the order of its names, and each of its modes as a unit: whatever is counted, joined and sorted
-- visit by visit goes by the number. The names come back where a table is published.
CREATE OR REPLACE TEMP TABLE equipment_number AS
SELECT
    e.equipment_id,
    (row_number() OVER (ORDER BY e.equipment_id) - 1)::INTEGER AS equipment_no,
    e.site_id,
    s.branch,
    e.rated_tesp_inwc,
    e.design_cooling_cfm,
    e.design_heating_cfm
FROM equipment AS e
INNER JOIN site AS s USING (site_id);

CREATE OR REPLACE TEMP TABLE unit AS
SELECT 2 * equipment_no + (mode = 'heating')::INTEGER AS unit_no, equipment_no, equipment_id, mode
FROM equipment_number
CROSS JOIN (SELECT unnest(['cooling', 'heating']) AS mode);
