-- The site (site_id) itself: one row, or none where it does not exist.
SELECT
    site_id,
    site_label[:200] AS site_label,
    branch,
    elevation_ft
FROM site
WHERE site.site_id = getvariable('site_id');
