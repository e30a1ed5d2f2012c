-- Work that nobody measured after: latest first, top rows; n_of_kind counts all work by what followed.
WITH counted AS (
    SELECT
        follow_up,
        count(*) AS n_of_kind
    FROM work_follow_up
    GROUP BY follow_up
)

SELECT
    f.follow_up,
    counted.n_of_kind,
    f.work_id,
    f.site_id,
    site.site_label[:200] AS site_label,
    f.branch,
    f.equipment_id,
    f.work_kind,
    f.done_on
FROM work_follow_up AS f
INNER JOIN counted ON f.follow_up = counted.follow_up
LEFT JOIN site ON f.site_id = site.site_id
WHERE f.follow_up = 'not_measured'
ORDER BY f.done_on DESC, f.work_id ASC
LIMIT getvariable('top');
