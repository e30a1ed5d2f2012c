-- Units whose static rises over both modes' evidence, within rating or over it: steepest first, top rows.
-- crossing: the earliest day on which a mode's trend passes the rating.
WITH rising AS (
    SELECT
        t.*,
        e.equipment_kind
    FROM equipment_trend AS t
    INNER JOIN equipment AS e ON t.equipment_id = e.equipment_id
    INNER JOIN publication ON e.retired_on IS NULL OR e.retired_on > publication.today
    WHERE t.trend = 'rising'
),

listed AS (
    SELECT *
    FROM rising
    ORDER BY slope_inwc_per_year DESC, equipment_id ASC
    LIMIT getvariable('top')
),

crossing AS (
    SELECT
        equipment_id,
        min(rated_crossing_on) AS rated_crossing_on
    FROM site_trend
    WHERE equipment_id IN (SELECT listed.equipment_id FROM listed)
    GROUP BY ALL
)

SELECT
    t.site_id,
    site.site_label[:200] AS site_label,
    site.branch,
    t.equipment_id,
    t.equipment_kind,
    t.n_visits,
    t.span_days,
    t.slope_inwc_per_year,
    t.slope_lo,
    t.slope_hi,
    t.q_value,
    c.rated_crossing_on,
    (SELECT count(*) FROM rising) AS n_rising
FROM listed AS t
LEFT JOIN site ON t.site_id = site.site_id
LEFT JOIN crossing AS c ON t.equipment_id = c.equipment_id
ORDER BY t.slope_inwc_per_year DESC, t.equipment_id ASC;
