-- Of chosen units (units) the mode that ranks behind the other one; the mode that ranks first is the other one here.
SELECT
    p.* REPLACE (p.site_label[:200] AS site_label, nullif(p.other_problem_side, 'none') AS other_problem_side),
    l.rank AS other_rank
FROM memory.ranked_line AS l
INNER JOIN site_priority AS p ON l.other_rank = p.rank
WHERE l.equipment_id IN (SELECT unnest(getvariable('units')))
ORDER BY p.rank;
