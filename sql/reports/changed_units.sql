-- The units that changed, the most telling change first and the largest move of the level in it; top rows of each change.
-- With the work that may have done it: the latest one that begins a new stretch and was done since the publication before,
-- or, where a chronic unit is not judged since, at any time (its record may have come late); and how many visits are still
-- wanted before it is judged (shared/visits_to_verdict.sql).
WITH listed AS (
    SELECT *
    FROM site_change
    WHERE change NOT IN ('same', 'first_seen')
    QUALIFY
        row_number() OVER (
            PARTITION BY change ORDER BY abs(level_change_inwc) DESC NULLS LAST, equipment_id ASC, mode ASC
        ) <= getvariable('top')
),

worked AS (
    SELECT
        l.equipment_id,
        l.mode,
        max_by(w.work_kind, (w.done_on, w.work_id)) AS work_kind,
        max(w.done_on) AS done_on
    FROM listed AS l
    INNER JOIN work AS w ON l.equipment_id = w.equipment_id
    CROSS JOIN publication AS p
    WHERE
        starts_stretch(w.work_kind)
        AND w.done_on <= p.today
        AND (w.done_on > l.since OR (l.change = 'to_confirm' AND l.state = 'too_few_visits'))
    GROUP BY l.equipment_id, l.mode
)

SELECT
    c.change,
    c.site_id,
    site.site_label[:200] AS site_label,
    site.branch,
    c.equipment_id,
    c.mode,
    c.was_state,
    c.state,
    c.side,
    c.was_level_inwc,
    c.level_inwc,
    c.level_change_inwc,
    w.work_kind,
    w.done_on,
    a.visits_needed
FROM listed AS c
LEFT JOIN site ON c.site_id = site.site_id
LEFT JOIN worked AS w ON c.equipment_id = w.equipment_id AND c.mode = w.mode
LEFT JOIN memory.visits_to_verdict AS a ON c.equipment_id = a.equipment_id AND c.mode = a.mode
ORDER BY
    list_position(['new_chronic', 'worse', 'resolved', 'better', 'to_confirm', 'gone'], c.change) ASC,
    abs(c.level_change_inwc) DESC NULLS LAST,
    c.equipment_id ASC,
    c.mode ASC;
