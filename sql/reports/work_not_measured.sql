-- Work that nobody measured after, on units in service: latest first, top rows; n_of_kind: how many there are.
WITH unmeasured AS (
    SELECT
        *,
        count(*) OVER () AS n_of_kind
    FROM work_follow_up
    WHERE follow_up = 'not_measured' AND equipment_id NOT IN (SELECT r.equipment_id FROM memory.retired_unit AS r)
)

SELECT
    f.follow_up,
    f.n_of_kind,
    f.work_id,
    f.site_id,
    site.site_label[:200] AS site_label,
    f.branch,
    f.equipment_id,
    f.work_kind,
    f.done_on
FROM unmeasured AS f
LEFT JOIN site ON f.site_id = site.site_id
ORDER BY f.done_on DESC, f.work_id ASC
LIMIT getvariable('top');
