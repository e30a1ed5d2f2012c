-- Sites whose id or label is nearest to what was asked for (asked), five at most.
SELECT
    site_id,
    site_label[:80] AS site_label
FROM site
ORDER BY
    least(
        damerau_levenshtein(lower(site_id), lower(getvariable('asked'))),
        damerau_levenshtein(lower(coalesce(site_label, '')[:60]), lower(getvariable('asked')))
    ),
    site_id
LIMIT 5;
