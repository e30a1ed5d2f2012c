-- Units in service by branch and kind: how many are judged, how many chronic, on which side. At most top rows.
-- What is said of either mode of a unit: judged 1, chronic 2, on the return side 4, the supply side 8, by the airflow 16.
WITH units AS (
    SELECT
        equipment_id,
        branch,
        bit_or(
            CASE
                WHEN static_state = 'too_few_visits' THEN 0
                WHEN static_state <> 'chronic' THEN 1
                WHEN problem_side = 'return' THEN 7
                WHEN problem_side = 'supply' THEN 11
                WHEN problem_side = 'airflow_setting' THEN 19
                ELSE 3
            END
        ) AS said
    FROM site_static
    GROUP BY equipment_id, branch
)

SELECT
    u.branch,
    e.equipment_kind,
    count(*) AS n_units,
    count(*) FILTER (WHERE u.said & 1 > 0) AS n_judged,
    count(*) FILTER (WHERE u.said & 2 > 0) AS n_chronic,
    count(*) FILTER (WHERE u.said & 4 > 0) AS n_return,
    count(*) FILTER (WHERE u.said & 8 > 0) AS n_supply,
    count(*) FILTER (WHERE u.said & 16 > 0) AS n_airflow_setting,
    n_chronic / nullif(n_judged, 0) AS share_chronic
FROM units AS u
INNER JOIN equipment AS e ON u.equipment_id = e.equipment_id
INNER JOIN publication ON e.retired_on IS NULL OR e.retired_on > publication.today
GROUP BY ALL
ORDER BY n_chronic DESC, u.branch ASC, e.equipment_kind ASC
LIMIT getvariable('top');
