-- Which branch's furnaces lose most air to return restriction?
SELECT
    p.branch,
    count(*) AS n_furnaces,
    sum(p.airflow_shortfall_cfm) AS airflow_shortfall_cfm,
    median(p.airflow_shortfall_cfm) AS median_shortfall_cfm
FROM site_priority AS p
INNER JOIN equipment AS e USING (equipment_id)
WHERE e.equipment_kind = 'furnace' AND p.problem_side = 'return' AND p.mode = 'cooling'
GROUP BY p.branch
ORDER BY airflow_shortfall_cfm DESC NULLS LAST, p.branch;
