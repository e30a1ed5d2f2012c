-- Units in service that need a visit before anything can be said, by reason, and how many settle it with one or two.
-- Uncertain ones that rise stand apart: their mean is near the rating because they pass it, which no visit more settles.
-- Units in one mode; of those without a valid visit units, for most have no mode yet.
WITH told AS (
    SELECT
        * REPLACE (
            if(
                reason = 'uncertain'
                AND equipment_id IN (SELECT t.equipment_id FROM equipment_trend AS t WHERE t.trend = 'rising'),
                'uncertain_rising', reason
            ) AS reason
        )
    FROM site_attention
)

SELECT
    reason,
    if(reason = 'never_measured', count(DISTINCT equipment_id), count(*)) AS n_units,
    count(DISTINCT site_id) AS n_sites,
    count(*) FILTER (WHERE visits_needed <= 1 AND reason <> 'uncertain_rising') AS n_one_visit,
    count(*) FILTER (WHERE visits_needed = 2 AND reason <> 'uncertain_rising') AS n_two_visits
FROM told
GROUP BY reason
ORDER BY
    list_position(
        ['uncertain', 'uncertain_rising', 'too_few_visits', 'not_measured_lately', 'never_measured'], reason
    );
