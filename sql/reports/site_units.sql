-- The units of one site (site_id), in service first, at most top of n_units; a site without equipment has no row.
SELECT
    e.equipment_id,
    e.retired_on,
    count(*) OVER () AS n_units
FROM equipment AS e
INNER JOIN site ON e.site_id = site.site_id
WHERE site.site_id = getvariable('site_id')
ORDER BY e.retired_on DESC NULLS FIRST, e.equipment_id ASC
LIMIT getvariable('top');
