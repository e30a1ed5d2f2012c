-- The readings of chosen units (units: equipment_id), newest newest of each unit and mode, with what the checks found.
WITH chosen AS (
    SELECT
        v.visit_id,
        v.equipment_id,
        v.mode,
        v.visited_at,
        v.visited_on,
        v.return_inwc,
        v.supply_inwc,
        v.tesp_inwc,
        v.u_tesp_inwc,
        v.valid,
        v.like_new,
        v.repairs
    FROM visit_reading AS v
    WHERE v.equipment_id IN (SELECT unnest(getvariable('units')))
    QUALIFY row_number() OVER (PARTITION BY v.equipment_id, v.mode ORDER BY v.visited_at DESC, v.visit_id ASC) <= getvariable('newest')
),

noted AS (
    SELECT
        visit_id,
        note
    FROM visit
    WHERE note IS NOT NULL AND visit_id IN (SELECT chosen.visit_id FROM chosen)
),

found AS (
    SELECT
        f.visit_id,
        string_agg(coalesce(c.title, f.check_id), '; ' ORDER BY f.check_id) AS findings
    FROM finding AS f
    LEFT JOIN check_catalog AS c ON f.check_id = c.check_id
    WHERE f.visit_id IN (SELECT visit_id FROM chosen)
    GROUP BY ALL
)

SELECT
    v.equipment_id,
    v.mode,
    v.visit_id,
    v.visited_on,
    round(v.return_inwc, 4) AS return_inwc,
    round(v.supply_inwc, 4) AS supply_inwc,
    round(v.tesp_inwc, 4) AS tesp_inwc,
    round(v.u_tesp_inwc, 4) AS u_tesp_inwc,
    CASE WHEN NOT v.valid THEN 'set aside' WHEN NOT v.like_new THEN 'not like new' ELSE 'like new' END AS reading,
    coalesce(v.visited_on > (SELECT publication.today FROM publication), FALSE) AS is_in_future,
    found.findings,
    v.repairs[:200] AS repairs,
    noted.note[:200] AS note
FROM chosen AS v
LEFT JOIN noted ON v.visit_id = noted.visit_id
LEFT JOIN found ON v.visit_id = found.visit_id
ORDER BY v.equipment_id, v.mode, v.visited_at, v.visit_id;
