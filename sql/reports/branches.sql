-- Units in service by branch and kind: how many are judged, how many chronic, on which side. At most top rows.
WITH units AS (
    SELECT
        equipment_id,
        branch,
        bool_or(static_state <> 'too_few_visits') AS is_judged,
        bool_or(static_state = 'chronic') AS is_chronic,
        bool_or(static_state = 'chronic' AND problem_side = 'return') AS is_return,
        bool_or(static_state = 'chronic' AND problem_side = 'supply') AS is_supply,
        bool_or(static_state = 'chronic' AND problem_side = 'airflow_setting') AS is_airflow_setting
    FROM site_static
    GROUP BY equipment_id, branch
)

SELECT
    u.branch,
    e.equipment_kind,
    count(*) AS n_units,
    count(*) FILTER (WHERE u.is_judged) AS n_judged,
    count(*) FILTER (WHERE u.is_chronic) AS n_chronic,
    count(*) FILTER (WHERE u.is_return) AS n_return,
    count(*) FILTER (WHERE u.is_supply) AS n_supply,
    count(*) FILTER (WHERE u.is_airflow_setting) AS n_airflow_setting,
    n_chronic / nullif(n_judged, 0) AS share_chronic
FROM units AS u
INNER JOIN equipment AS e ON u.equipment_id = e.equipment_id
INNER JOIN publication ON e.retired_on IS NULL OR e.retired_on > publication.today
GROUP BY ALL
ORDER BY n_chronic DESC, u.branch ASC, e.equipment_kind ASC
LIMIT getvariable('top');
