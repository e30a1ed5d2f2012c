-- How much air a ton do units move in cooling, by problem side? Common practice is about 400 cfm a ton (no source).
SELECT
    s.problem_side,
    count(*) AS n_units,
    median(s.airflow_cfm / e.nominal_tons) AS cfm_per_ton,
    count(*) FILTER (WHERE s.airflow_cfm / e.nominal_tons < 350) AS n_below_350,
    count(*) FILTER (WHERE s.airflow_cfm / e.nominal_tons > 450) AS n_above_450
FROM site_static AS s
INNER JOIN equipment AS e USING (equipment_id)
WHERE s.mode = 'cooling' AND s.airflow_cfm / e.nominal_tons IS NOT NULL
GROUP BY s.problem_side
ORDER BY s.problem_side;
