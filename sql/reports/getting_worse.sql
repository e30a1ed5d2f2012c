-- Units whose static rises over both modes' evidence, within rating or over it: steepest first, top rows.
WITH rising AS (
    SELECT *
    FROM equipment_trend
    WHERE
        trend = 'rising'
        AND equipment_id NOT IN (
            SELECT e.equipment_id FROM equipment AS e, publication AS p
            WHERE e.retired_on <= p.today
        )
),

listed AS (
    SELECT *
    FROM rising
    ORDER BY slope_inwc_per_year DESC, equipment_id ASC
    LIMIT getvariable('top')
)

SELECT
    t.site_id,
    site.site_label[:200] AS site_label,
    site.branch,
    t.equipment_id,
    e.equipment_kind,
    t.n_visits,
    t.span_days,
    t.slope_inwc_per_year,
    t.slope_lo,
    t.slope_hi,
    t.q_value,
    (SELECT count(*) FROM rising) AS n_rising
FROM listed AS t
LEFT JOIN equipment AS e ON t.equipment_id = e.equipment_id
LEFT JOIN site ON t.site_id = site.site_id
ORDER BY t.slope_inwc_per_year DESC, t.equipment_id ASC;
