-- Equipment rows whose site is unknown, of those that are asked: again whenever that site comes or goes.
CREATE OR REPLACE TABLE orphan_equipment AS
SELECT
    e.row_id,
    'site_unknown' AS reason,
    'site_id holds ' || shown(e.site_id) || ', expected a site_id of the sites table' AS detail
FROM asked_equipment AS e
ANTI JOIN site AS s ON e.site_id = s.site_id;
