-- The units of one site (site_id), in service first; a site without equipment has no row.
SELECT
    e.equipment_id,
    e.retired_on
FROM equipment AS e
INNER JOIN site ON e.site_id = site.site_id
WHERE site.site_id = getvariable('site_id')
ORDER BY e.retired_on DESC NULLS FIRST, e.equipment_id ASC
LIMIT 12;
