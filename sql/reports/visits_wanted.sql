-- Units that one or two like-new visits settle: uncertain ones first, then those with fewest visits to go; top rows. No
-- uncertain ones that rise: their mean passes the rating, which a visit more does not settle (getting_worse.sql).
WITH wanted AS (
    SELECT *
    FROM site_attention
    WHERE
        visits_needed <= 2
        AND NOT (
            reason = 'uncertain'
            AND equipment_id IN (SELECT t.equipment_id FROM equipment_trend AS t WHERE t.trend = 'rising')
        )
),

listed AS (
    SELECT *
    FROM wanted
    ORDER BY
        list_position(['uncertain', 'too_few_visits', 'not_measured_lately', 'never_measured'], reason) ASC,
        visits_needed ASC,
        equipment_id ASC,
        mode ASC
    LIMIT getvariable('top')
)

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
    (SELECT count(*) FROM wanted) AS n_wanted
FROM listed AS a
LEFT JOIN site ON a.site_id = site.site_id
ORDER BY
    list_position(['uncertain', 'too_few_visits', 'not_measured_lately', 'never_measured'], a.reason) ASC,
    a.visits_needed ASC,
    a.equipment_id ASC,
    a.mode ASC;
