-- Standard uncertainty of the three causes of each visit, by propagation (JCGM 100, 5.1.2). The inputs are the two
-- statics and, through the blower table, the airflow that follows from them; a measured airflow is an input of its own.
-- With a = airflow_ratio^2: restriction = (p / a - b)(a + 1) / 2, airflow = (p / a + b)(a - 1) / 2.
CREATE OR REPLACE TABLE visit_split_uncertainty AS
WITH input AS (
    SELECT
        v.visit_id,
        -v.return_inwc AS pr,
        v.supply_inwc AS ps,
        b.return_budget_inwc AS br,
        b.supply_budget_inwc AS bs,
        pow(v.airflow_ratio, 2) AS a,
        -- How a moves with TESP (through the table), and its own uncertainty (measured airflow).
        CASE
            WHEN v.airflow_source = 'blower_table'
                THEN
                    2 * v.airflow_ratio * coalesce(f.table_slope_cfm_per_inwc, 0) / v.design_cfm
            ELSE 0
        END AS a_per_inwc,
        CASE WHEN v.airflow_source = 'measured' THEN 2 * v.airflow_ratio * v.u_airflow_cfm / v.design_cfm ELSE 0 END
            AS u_a,
        sqrt(
            pow(u.u_return_accuracy, 2) + pow(u.u_resolution, 2) + pow(u.u_return_zero, 2)
            + pow(u.u_return_location, 2) + pow(u.u_probe, 2) + pow(u.u_return_port, 2)
        ) AS ur,
        sqrt(
            pow(u.u_supply_accuracy, 2) + pow(u.u_resolution, 2) + pow(u.u_supply_zero, 2)
            + pow(u.u_supply_location, 2) + pow(u.u_probe, 2) + pow(u.u_supply_port, 2)
        ) AS us,
        u.port_correlation * u.u_return_accuracy * u.u_supply_accuracy AS covariance
    FROM visit_static AS v
    INNER JOIN visit_airflow AS f USING (visit_id)
    INNER JOIN visit_uncertainty_part AS u USING (visit_id)
    INNER JOIN equipment_budget AS b ON v.equipment_id = b.equipment_id
    WHERE v.airflow_ratio > 0
),

slope AS (
    SELECT
        *,
        (a + 1) / (2 * a) AS own,
        -(pr / pow(a, 2) + br) / 2 AS return_by_a,
        -(ps / pow(a, 2) + bs) / 2 AS supply_by_a,
        own + return_by_a * a_per_inwc AS rr,
        return_by_a * a_per_inwc AS rs,
        supply_by_a * a_per_inwc AS sr,
        own + supply_by_a * a_per_inwc AS ss,
        -- The three causes add up to TESP - rated, so the airflow setting moves by what the others leave.
        1 - rr - sr AS ar,
        1 - rs - ss AS as_
    FROM input
)

SELECT
    visit_id,
    sqrt(pow(rr * ur, 2) + pow(rs * us, 2) + 2 * rr * rs * covariance + pow(return_by_a * u_a, 2))
        AS u_return_restriction_inwc,
    sqrt(pow(sr * ur, 2) + pow(ss * us, 2) + 2 * sr * ss * covariance + pow(supply_by_a * u_a, 2))
        AS u_supply_restriction_inwc,
    sqrt(
        pow(ar * ur, 2) + pow(as_ * us, 2) + 2 * ar * as_ * covariance
        + pow((return_by_a + supply_by_a) * u_a, 2)
    ) AS u_airflow_setting_inwc
FROM slope;
