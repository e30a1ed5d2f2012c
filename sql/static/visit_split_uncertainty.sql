-- Standard uncertainty of the three causes of each visit with a known airflow, by propagation (JCGM 100, 5.1.2): see
-- visit_static.sql, which computes it.
CREATE OR REPLACE VIEW visit_split_uncertainty AS
SELECT visit_id, u_return_restriction_inwc, u_supply_restriction_inwc, u_airflow_setting_inwc
FROM visit_static
WHERE airflow_ratio > 0;
