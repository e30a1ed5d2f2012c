-- What visit_static keeps of each loaded visit: the repaired readings, what they are worth (uncertainty of TESP by its
-- sources), airflow, whether it counts, the stretch between works that it belongs to, and its branch, for the counts. What
-- follows from these by a few operations is added where it is asked for (visit_static.sql): half the cost of a stored
-- column is packing it.
-- The joins stay as they are written, the small tables looked up for each visit: DuckDB thinks `visit` small, and would
-- build a hash table of all visits to look up the stretches in.
-- The ids are hardly ever the same: looking for a dictionary of them costs four times as much as writing them down.
-- Of a computed number with all its digits, packing saves an eighth of the room at the same price. Other columns name the
-- packing that suits them, for to try all costs twice as much. A text cast to ENUM is looked up; literals cost a quarter.
CREATE OR REPLACE TABLE staging.visit_measured ( -- noqa: PRS
    visit_id VARCHAR USING COMPRESSION uncompressed,
    equipment_id VARCHAR USING COMPRESSION uncompressed,
    equipment_no INTEGER,
    technician_id VARCHAR,
    instrument_id VARCHAR,
    visited_at TIMESTAMPTZ USING COMPRESSION uncompressed,
    visited_on DATE USING COMPRESSION rle,
    mode ENUM('cooling', 'heating') USING COMPRESSION rle,
    return_inwc DOUBLE,
    supply_inwc DOUBLE,
    u_tesp_inwc DOUBLE USING COMPRESSION uncompressed,
    filter_drop_inwc DOUBLE USING COMPRESSION alp,
    coil_drop_inwc DOUBLE USING COMPRESSION alp,
    airflow_cfm DOUBLE USING COMPRESSION uncompressed,
    airflow_from ENUM('measured', 'blower_table', 'none') USING COMPRESSION rle,
    power_w DOUBLE USING COMPRESSION uncompressed,
    power_measured BOOLEAN USING COMPRESSION rle,
    like_new BOOLEAN USING COMPRESSION rle,
    sides_known BOOLEAN USING COMPRESSION rle,
    set_aside_because VARCHAR,
    return_recorded DOUBLE,
    supply_recorded DOUBLE,
    pressure_unit ENUM('inwc', 'pa', 'mmwc') USING COMPRESSION rle,
    reported_tesp DOUBLE,
    repairs VARCHAR,
    tap_used VARCHAR,
    airflow_note VARCHAR,
    airflow_at_least_cfm DOUBLE USING COMPRESSION rle,
    airflow_at_most_cfm DOUBLE USING COMPRESSION rle,
    u_airflow_cfm DOUBLE USING COMPRESSION uncompressed,
    table_slope_cfm_per_inwc DOUBLE USING COMPRESSION uncompressed,
    segment BIGINT USING COMPRESSION rle,
    on_work_day BOOLEAN USING COMPRESSION rle,
    since_last_work BOOLEAN USING COMPRESSION rle,
    last_work_on DATE USING COMPRESSION uncompressed,
    branch VARCHAR,
    u_return_accuracy_inwc DOUBLE,
    u_supply_accuracy_inwc DOUBLE,
    u_shared_gain_inwc DOUBLE,
    u_resolution_inwc DOUBLE,
    u_return_zero_inwc DOUBLE USING COMPRESSION uncompressed,
    u_supply_zero_inwc DOUBLE USING COMPRESSION uncompressed,
    u_return_location_inwc DOUBLE USING COMPRESSION rle,
    u_supply_location_inwc DOUBLE USING COMPRESSION rle,
    u_probe_inwc DOUBLE,
    u_filter_drop_inwc DOUBLE USING COMPRESSION rle,
    u_coil_drop_inwc DOUBLE USING COMPRESSION rle
);

SET disabled_optimizers = 'join_order,build_side_probe_side';

INSERT INTO staging.visit_measured BY NAME
WITH known AS (
    SELECT
        *,
        coalesce(measured_cfm, table_cfm) AS airflow_cfm,
        coalesce(motor_power_w, table_w) AS power_w,
        motor_power_w IS NOT NULL AS power_measured,
        CASE
            WHEN measured_cfm IS NOT NULL THEN 'measured'::ENUM('measured', 'blower_table', 'none')
            WHEN table_cfm IS NOT NULL THEN 'blower_table'::ENUM('measured', 'blower_table', 'none')
            ELSE 'none'::ENUM('measured', 'blower_table', 'none')
        END AS airflow_from,
        -- The table's slope carries the uncertainty of the static over to the airflow; a measured airflow has its own.
        CASE
            WHEN measured_cfm IS NOT NULL THEN rectangular(getvariable('measured_airflow_share') * measured_cfm)
            ELSE abs(table_slope_cfm_per_inwc) * u_tesp_inwc
        END AS u_airflow_cfm
    FROM visit_uncertainty_part
)

SELECT
    l.visit_id,
    l.equipment_id,
    l.equipment_no,
    l.technician_id,
    l.instrument_id,
    l.visited_at,
    l.visited_on,
    CASE l.mode
        WHEN 'cooling' THEN 'cooling'::ENUM('cooling', 'heating')
        WHEN 'heating' THEN 'heating'::ENUM('cooling', 'heating')
    END AS mode,
    l.return_inwc,
    l.supply_inwc,
    l.u_tesp_inwc,
    l.filter_drop_inwc,
    l.coil_drop_inwc,
    l.airflow_cfm,
    l.airflow_from,
    l.power_w,
    l.power_measured,
    j.visit_id IS NULL AS like_new,
    l.sign_case <> 'crossed' AS sides_known,
    j.set_aside_because,
    l.return_static AS return_recorded,
    l.supply_static AS supply_recorded,
    CASE l.pressure_unit
        WHEN 'inwc' THEN 'inwc'::ENUM('inwc', 'pa', 'mmwc')
        WHEN 'pa' THEN 'pa'::ENUM('inwc', 'pa', 'mmwc')
        WHEN 'mmwc' THEN 'mmwc'::ENUM('inwc', 'pa', 'mmwc')
    END AS pressure_unit,
    l.reported_tesp,
    CASE
        WHEN l.unit_repaired OR l.sign_repaired OR l.return_port_repaired OR l.supply_port_repaired
            THEN
                concat_ws(
                    '; ',
                    CASE
                        WHEN l.unit_repaired THEN
                            'unit: read as ' || CASE l.pressure_unit WHEN 'pa' THEN 'in. w.c.' ELSE 'Pa' END
                    END,
                    CASE
                        WHEN l.sign_repaired AND l.sign_case = 'both_positive' THEN 'sign of the return restored'
                    END,
                    CASE
                        WHEN l.sign_repaired AND l.sign_case = 'both_negative' THEN 'sign of the supply restored'
                    END,
                    CASE WHEN l.exchanged THEN 'return and supply exchanged' END,
                    CASE
                        WHEN l.return_port_repaired
                            THEN
                                format(
                                    'return brought to the right port with the filter drop {:.3f}',
                                    l.filter_drop_inwc
                                )
                    END,
                    CASE
                        WHEN l.supply_port_repaired
                            THEN
                                format(
                                    'supply brought to the right port with the coil drop {:.3f}', l.coil_drop_inwc
                                )
                    END
                )
    END AS repairs,
    l.tap_used,
    l.airflow_note,
    l.airflow_at_least_cfm,
    l.airflow_at_most_cfm,
    l.u_airflow_cfm,
    l.table_slope_cfm_per_inwc,
    CASE
        WHEN coalesce(l.visited_on < l.first_work_on, TRUE) THEN 0
        WHEN l.visited_on >= l.last_work_on THEN l.n_work_days
        ELSE 1 + coalesce(len(list_filter(l.work_days_between, LAMBDA d: d <= l.visited_on)), 0)
    END AS segment,
    coalesce(
        l.visited_on = l.first_work_on
        OR l.visited_on = l.last_work_on
        OR list_contains(l.work_days_between, l.visited_on), FALSE
    ) AS on_work_day,
    coalesce(l.visited_on > l.last_work_on, TRUE) AS since_last_work,
    l.last_work_on,
    l.branch,
    l.u_return_accuracy AS u_return_accuracy_inwc,
    l.u_supply_accuracy AS u_supply_accuracy_inwc,
    sqrt(2 * l.port_covariance) AS u_shared_gain_inwc,
    sqrt(2) * l.u_resolution AS u_resolution_inwc,
    l.u_return_zero AS u_return_zero_inwc,
    l.u_supply_zero AS u_supply_zero_inwc,
    l.u_return_location AS u_return_location_inwc,
    l.u_supply_location AS u_supply_location_inwc,
    sqrt(2) * l.u_probe AS u_probe_inwc,
    l.u_return_port AS u_filter_drop_inwc,
    l.u_supply_port AS u_coil_drop_inwc
FROM known AS l
LEFT JOIN visit_judged AS j ON l.visit_id = j.visit_id;

RESET disabled_optimizers;
