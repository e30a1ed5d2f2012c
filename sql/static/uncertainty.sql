-- Standard uncertainty of each visit's TESP by source (JCGM 100, 5.1.2 and 5.2.2), in. w.c.
-- Two ports of one instrument share part of their gain error, which adds up in supply - return (return is negative).
CREATE OR REPLACE TABLE visit_uncertainty_part AS
WITH limits AS (
    SELECT
        r.*,
        coalesce(i.accuracy_pct_of_reading, getvariable('default_accuracy_pct')) / 100 AS share,
        coalesce(i.accuracy_floor_inwc, getvariable('default_accuracy_floor_inwc')) AS floor_inwc,
        resolution_u(coalesce(i.resolution_inwc, getvariable('default_resolution_inwc'))) AS u_resolution,
        CASE WHEN i.port_style = 'paired_single_port' THEN 0 ELSE getvariable('port_correlation_dual') END
            AS port_correlation
    FROM reading AS r
    LEFT JOIN instrument AS i USING (instrument_id)
)

SELECT
    visit_id,
    rectangular(greatest(share * abs(return_read), floor_inwc)) AS u_return_accuracy,
    rectangular(greatest(share * abs(supply_read), floor_inwc)) AS u_supply_accuracy,
    port_correlation,
    u_resolution,
    CASE
        WHEN zero_return_inwc IS NULL THEN rectangular(getvariable('zero_missing_half_width_inwc'))
        ELSE sqrt(
            pow(u_resolution, 2) + pow(rectangular(getvariable('zero_residual_share') * abs(zero_return_inwc)), 2)
        )
    END AS u_return_zero,
    CASE
        WHEN zero_supply_inwc IS NULL THEN rectangular(getvariable('zero_missing_half_width_inwc'))
        ELSE sqrt(
            pow(u_resolution, 2) + pow(rectangular(getvariable('zero_residual_share') * abs(zero_supply_inwc)), 2)
        )
    END AS u_supply_zero,
    CASE
        WHEN return_location = 'near_turn'
            THEN
                rectangular(
                    greatest(
                        getvariable('near_turn_half_width_share') * abs(return_read),
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
                        getvariable('near_turn_half_width_share') * abs(supply_read),
                        getvariable('near_turn_half_width_min_inwc')
                    )
                )
        ELSE 0
    END AS u_supply_location,
    CASE
        WHEN probe_kind = 'straight_tube' THEN rectangular(getvariable('straight_tube_half_width_inwc'))
        ELSE 0
    END AS u_probe,
    CASE
        WHEN return_port_repaired THEN rectangular(greatest(share * abs(filter_drop_inwc), floor_inwc))
        ELSE 0
    END AS u_return_port,
    CASE
        WHEN supply_port_repaired THEN rectangular(greatest(share * abs(coil_drop_inwc), floor_inwc))
        ELSE 0
    END AS u_supply_port,
    sqrt(
        pow(u_return_accuracy, 2) + pow(u_supply_accuracy, 2)
        + 2 * port_correlation * u_return_accuracy * u_supply_accuracy
        + 2 * pow(u_resolution, 2)
        + pow(u_return_zero, 2) + pow(u_supply_zero, 2)
        + pow(u_return_location, 2) + pow(u_supply_location, 2)
        + 2 * pow(u_probe, 2)
        + pow(u_return_port, 2) + pow(u_supply_port, 2)
    ) AS u_tesp_inwc
FROM limits;
