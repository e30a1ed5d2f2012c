-- Equipment rows whose site is unknown. Decided anew at every run: the site may arrive later.
CREATE OR REPLACE TABLE orphan_equipment AS
SELECT
    e.rowid AS row_id,
    'site_unknown' AS reason,
    'site_id holds ' || shown(e.site_id) || ', expected a site_id of the sites table' AS detail
FROM staging.equipment AS e
ANTI JOIN site AS s ON e.site_id = s.site_id
WHERE e.wrong IS NULL;
