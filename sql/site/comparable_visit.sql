-- Visits that can be compared with one another: valid and like new. Readings of a technician and instrument whose
-- offset is material and significant are corrected by it (data contract, "Doubtful zeroes and levels"), and so is what
-- follows from them: the airflow and fan power that the maker's table gives at that static, and the causes. Such readings
-- whose sides are not known are left out: nobody knows which side an offset is to be taken off.
CREATE OR REPLACE TEMP VIEW comparable_visit AS
WITH corrected AS (
    SELECT
        v.* REPLACE (
            v.return_inwc - coalesce(c.return_inwc, 0) AS return_inwc,
            v.supply_inwc - coalesce(c.supply_inwc, 0) AS supply_inwc,
            v.tesp_inwc - coalesce(c.supply_inwc, 0) + coalesce(c.return_inwc, 0) AS tesp_inwc
        ),
        coalesce(c.is_corrected, FALSE) AS offset_corrected,
        CASE
            WHEN c.is_corrected THEN c.variance
            ELSE greatest(coalesce(c.variance, 0), pow(getvariable('measurer_sd'), 2))
        END AS measurer_variance,
        -- Who is not corrected looks nothing up.
        CASE WHEN c.is_corrected THEN v.blower_table_id END AS asked_table
    FROM staging.visit_computed AS v
    LEFT JOIN correction AS c ON v.technician_id = c.technician_id AND coalesce(v.instrument_id, '') = c.instrument_id
    WHERE v.like_new AND NOT v.on_work_day AND (v.sides_known OR NOT coalesce(c.is_corrected, FALSE))
),

-- Where the corrected static lies in the table (blower_cell.sql).
placed AS (
    SELECT
        v.*,
        e.curve,
        static_for_table(v.tesp_inwc, v.density_ratio) AS static_in_table,
        table_cell(static_in_table, e.static_start, e.static_end, e.cells_per_inwc) AS cell
    FROM corrected AS v
    LEFT JOIN blower_end AS e ON v.asked_table = e.blower_table_id AND v.tap_used = e.tap
),

looked_up AS (
    SELECT
        v.* REPLACE (
            CASE
                WHEN v.offset_corrected AND v.airflow_from <> 'measured'
                    THEN interpolate(v.static_in_table, g.static_lo, g.airflow_lo, g.static_hi, g.airflow_hi)
                ELSE v.airflow_cfm
            END AS airflow_cfm,
            CASE
                WHEN NOT v.offset_corrected OR v.power_measured THEN v.power_w
                WHEN v.static_in_table = g.static_lo THEN g.power_lo
                ELSE interpolate(v.static_in_table, g.static_lo, g.power_lo, g.static_hi, g.power_hi)
            END AS power_w
        )
    FROM placed AS v
    LEFT JOIN blower_cell AS g
        ON
            v.curve = g.curve
            AND v.cell = g.cell
            AND v.static_in_table >= g.static_lo
            AND v.static_in_table < g.static_below
)

SELECT
    2 * equipment_no + (mode = 'heating')::INTEGER AS unit_no,
    visited_on,
    since_last_work,
    epoch(visited_at) / 86400.0 / getvariable('days_per_year') AS at_year,
    -- A technician with an instrument: they are only told apart, for which a hash does.
    hash(technician_id, coalesce(instrument_id, '')) AS measurer,
    sides_known,
    return_inwc,
    supply_inwc,
    tesp_inwc,
    offset_corrected,
    measurer_variance,
    airflow_cfm,
    airflow_cfm / nullif(design_cfm, 0) AS airflow_ratio,
    power_w,
    excess_restriction(-return_inwc, return_budget_inwc, airflow_cfm / nullif(design_cfm, 0)) AS return_restriction_inwc,
    excess_restriction(supply_inwc, supply_budget_inwc, airflow_cfm / nullif(design_cfm, 0)) AS supply_restriction_inwc,
    excess_airflow(-return_inwc, return_budget_inwc, airflow_cfm / nullif(design_cfm, 0))
    + excess_airflow(supply_inwc, supply_budget_inwc, airflow_cfm / nullif(design_cfm, 0)) AS airflow_setting_inwc,
    filter_drop_inwc,
    coil_drop_inwc,
    tap_used
FROM looked_up;
