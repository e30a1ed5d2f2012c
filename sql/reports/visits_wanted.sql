-- Units that one or two like-new visits settle: uncertain ones first, then those with fewest visits to go; top rows.
SELECT
    a.site_id,
    site.site_label[:200] AS site_label,
    a.branch,
    a.equipment_id,
    a.mode,
    a.reason,
    a.n_visits,
    a.last_valid_on,
    a.visits_needed,
    count(*) OVER () AS n_wanted
FROM site_attention AS a
LEFT JOIN site ON a.site_id = site.site_id
WHERE a.visits_needed <= 2
ORDER BY
    list_position(['uncertain', 'too_few_visits', 'not_measured_lately', 'never_measured'], a.reason) ASC,
    a.visits_needed ASC,
    a.equipment_id ASC,
    a.mode ASC
LIMIT getvariable('top');
