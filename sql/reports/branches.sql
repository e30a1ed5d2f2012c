-- Units in service by branch and kind: how many are judged, how many chronic, on which side. At most top rows.
SELECT
    branch,
    equipment_kind,
    count(*) AS n_units,
    count(*) FILTER (WHERE worst_state <> 'too_few_visits') AS n_judged,
    count(*) FILTER (WHERE worst_state = 'chronic') AS n_chronic,
    count(*) FILTER (WHERE chronic_return) AS n_return,
    count(*) FILTER (WHERE chronic_supply) AS n_supply,
    count(*) FILTER (WHERE chronic_airflow_setting) AS n_airflow_setting,
    n_chronic / nullif(n_judged, 0) AS share_chronic
FROM equipment_static
WHERE in_service
GROUP BY branch, equipment_kind
ORDER BY n_chronic DESC, branch ASC, equipment_kind ASC
LIMIT getvariable('top');
