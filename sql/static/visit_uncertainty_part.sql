-- Standard uncertainty of each visit's TESP by source (JCGM 100, 5.1.2 and 5.2.2), in. w.c.
-- Two ports of one instrument share part of their gain error, which adds up in supply - return (return is negative).
-- Of exchanged readings each part is that of the port to which the reading belongs: accuracy and zero go with the reading,
-- a turn nearby and the place by filter or coil are facts of the duct and stay with it.
CREATE OR REPLACE VIEW visit_uncertainty_part AS
WITH limits AS (
    SELECT
        r.*,
        coalesce(i.accuracy_share, getvariable('default_accuracy_pct') / 100) AS accuracy_share,
        coalesce(i.accuracy_floor_inwc, getvariable('default_accuracy_floor_inwc')) AS accuracy_floor_inwc,
        coalesce(i.u_resolution, resolution_u(getvariable('default_resolution_inwc'))) AS u_resolution,
        coalesce(i.port_correlation, getvariable('port_correlation_dual')) AS port_correlation,
        -- An open tube lets in part of the velocity pressure at the port: that of the speed which the airflow has in a
        -- plenum made for the design airflow, or a flat half-width where the airflow is not known.
        coalesce(
            getvariable('straight_tube_velocity_share') * r.density_ratio
            * velocity_pressure_inwc(
                getvariable('plenum_velocity_fpm') * coalesce(r.measured_cfm, r.table_cfm) / nullif(r.design_cfm, 0)
            ), getvariable('straight_tube_half_width_inwc')
        ) AS tube_half_width_inwc,
        rectangular(getvariable('zero_residual_share') * r.zero_return_inwc) AS return_residual,
        rectangular(getvariable('zero_residual_share') * r.zero_supply_inwc) AS supply_residual
    FROM visit_airflow AS r
    LEFT JOIN instrument_limit AS i USING (instrument_id)
),

parts AS (
    SELECT
        *,
        rectangular(greatest(accuracy_share * abs(return_signed), accuracy_floor_inwc)) AS u_return_accuracy,
        rectangular(greatest(accuracy_share * abs(supply_signed), accuracy_floor_inwc)) AS u_supply_accuracy,
        CASE
            WHEN zero_return_inwc IS NULL THEN rectangular(getvariable('zero_missing_half_width_inwc'))
            ELSE sqrt(u_resolution * u_resolution + return_residual * return_residual)
        END AS u_return_zero,
        CASE
            WHEN zero_supply_inwc IS NULL THEN rectangular(getvariable('zero_missing_half_width_inwc'))
            ELSE sqrt(u_resolution * u_resolution + supply_residual * supply_residual)
        END AS u_supply_zero,
        CASE
            WHEN return_location = 'near_turn'
                THEN
                    rectangular(
                        greatest(
                            getvariable('near_turn_half_width_share') * abs(return_signed),
                            getvariable('near_turn_half_width_min_inwc')
                        )
                    )
            ELSE 0
        END AS u_return_location,
        CASE
            WHEN supply_location = 'near_turn'
                THEN
                    rectangular(
                        greatest(
                            getvariable('near_turn_half_width_share') * abs(supply_signed),
                            getvariable('near_turn_half_width_min_inwc')
                        )
                    )
            ELSE 0
        END AS u_supply_location,
        CASE
            WHEN probe_kind = 'straight_tube' THEN rectangular(tube_half_width_inwc)
            ELSE 0
        END AS u_probe,
        CASE
            WHEN return_port_repaired
                THEN
                    rectangular(greatest(accuracy_share * abs(filter_drop_inwc), accuracy_floor_inwc))
            ELSE 0
        END AS u_return_port,
        CASE
            WHEN supply_port_repaired
                THEN
                    rectangular(greatest(accuracy_share * abs(coil_drop_inwc), accuracy_floor_inwc))
            ELSE 0
        END AS u_supply_port
    FROM limits
),

ports AS (
    SELECT
        *,
        u_return_accuracy * u_return_accuracy + u_resolution * u_resolution + u_return_zero * u_return_zero
        + u_return_location * u_return_location + u_probe * u_probe + u_return_port * u_return_port AS return_variance,
        u_supply_accuracy * u_supply_accuracy + u_resolution * u_resolution + u_supply_zero * u_supply_zero
        + u_supply_location * u_supply_location + u_probe * u_probe + u_supply_port * u_supply_port AS supply_variance,
        port_correlation * u_return_accuracy * u_supply_accuracy AS port_covariance
    FROM parts
)

SELECT
    *,
    sqrt(return_variance + supply_variance + 2 * port_covariance) AS u_tesp_inwc
FROM ports;
