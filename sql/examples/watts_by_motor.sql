-- Does the kind of motor show: air and watts of chronic units against those within the rating?
SELECT
    e.motor_kind,
    s.static_state,
    count(*) AS n_units,
    median(s.airflow_ratio) AS airflow_ratio,
    median(s.power_w / s.airflow_cfm) AS w_per_cfm
FROM site_static AS s
INNER JOIN equipment AS e USING (equipment_id)
WHERE s.static_state IN ('chronic', 'within_rating') AND s.mode = 'cooling'
GROUP BY e.motor_kind, s.static_state
ORDER BY e.motor_kind, s.static_state;
