-- Units in service by branch and kind: how many are judged, how many chronic, on which side. At most top rows.
SELECT
    branch,
    equipment_kind,
    sum(n_units)::BIGINT AS n_units,
    coalesce(sum(n_units) FILTER (WHERE is_judged), 0)::BIGINT AS n_judged,
    coalesce(sum(n_units) FILTER (WHERE is_chronic), 0)::BIGINT AS n_chronic,
    coalesce(sum(n_units) FILTER (WHERE is_return), 0)::BIGINT AS n_return,
    coalesce(sum(n_units) FILTER (WHERE is_supply), 0)::BIGINT AS n_supply,
    coalesce(sum(n_units) FILTER (WHERE is_airflow_setting), 0)::BIGINT AS n_airflow_setting,
    n_chronic / nullif(n_judged, 0) AS share_chronic
FROM memory.branch_units AS counted
WHERE in_service
GROUP BY branch, equipment_kind
ORDER BY n_chronic DESC, branch ASC, equipment_kind ASC
LIMIT getvariable('top');
