-- Units in service by branch and kind: how many are judged, how many chronic, on which side. At most top rows.
SELECT
    s.branch,
    e.equipment_kind,
    count(DISTINCT s.equipment_id) AS n_units,
    count(DISTINCT s.equipment_id) FILTER (WHERE s.static_state <> 'too_few_visits') AS n_judged,
    count(DISTINCT s.equipment_id) FILTER (WHERE s.static_state = 'chronic') AS n_chronic,
    count(DISTINCT s.equipment_id) FILTER (WHERE s.static_state = 'chronic' AND s.problem_side = 'return') AS n_return,
    count(DISTINCT s.equipment_id) FILTER (WHERE s.static_state = 'chronic' AND s.problem_side = 'supply') AS n_supply,
    count(DISTINCT s.equipment_id) FILTER (
        WHERE s.static_state = 'chronic' AND s.problem_side = 'airflow_setting'
    ) AS n_airflow_setting,
    n_chronic / nullif(n_judged, 0) AS share_chronic
FROM site_static AS s
INNER JOIN equipment AS e ON s.equipment_id = e.equipment_id
INNER JOIN publication ON e.retired_on IS NULL OR e.retired_on > publication.today
GROUP BY ALL
ORDER BY n_chronic DESC, s.branch ASC, e.equipment_kind ASC
LIMIT getvariable('top');
