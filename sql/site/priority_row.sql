-- What site_priority says of each unit that it lists (priority_evidence.sql), but its place among all others; the
-- equipment's other mode stands beside it, whatever its state. What to check first is said in the trade's words, by side
-- and evidence; what an uncertain one still wants rests on the trend over the fleet (site_priority.sql).
CREATE OR REPLACE TEMP TABLE priority_row AS
WITH listed AS (
    SELECT
        s.*,
        n.site_label,
        p.return_budget_inwc,
        p.filter_in_span,
        p.coil_in_span,
        p.filter_drop_inwc,
        p.coil_drop_inwc,
        p.power_at_rating_w,
        o.mode AS other_mode,
        o.static_state AS other_state,
        o.problem_side AS other_problem_side,
        o.level_inwc AS other_level_inwc,
        o.level_lo_inwc AS other_level_lo_inwc,
        o.level_hi_inwc AS other_level_hi_inwc,
        o.prob_over_rated AS other_prob_over_rated,
        o.n_visits AS other_n_visits
    FROM staging.unit_verdict AS s
    INNER JOIN priority_evidence AS p USING (unit_no)
    INNER JOIN staging.equipment_facts AS n ON s.equipment_no = n.equipment_no
    LEFT JOIN staging.unit_verdict AS o ON s.equipment_no = o.equipment_no AND s.mode <> o.mode
)

SELECT
    unit_no,
    problem_side,
    site_id,
    branch,
    equipment_id,
    mode,
    static_state,
    expected_excess_inwc,
    level_inwc,
    level_se_inwc,
    level_df,
    rated_tesp_inwc,
    CASE WHEN design_cfm - airflow_cfm IS NOT NULL THEN greatest(design_cfm - airflow_cfm, 0) END AS airflow_shortfall_cfm,
    power_w - power_at_rating_w AS extra_power_w,
    CASE problem_side
        WHEN 'return'
            THEN
                CASE
                    WHEN NOT filter_in_span
                        THEN
                            'Return duct first: an undersized return, a blocked grille, a crushed or closed run. The '
                            || 'rating covers the filter, whose drop is no part of this static.'
                    WHEN exceeds(filter_drop_inwc, return_budget_inwc / 2)
                        THEN
                            format(
                                'Filter first: its drop of {:.2f} in. w.c. is more than half of what the return side allows; '
                                || 'filter type, size and cabinet. Then the return duct and grille.', filter_drop_inwc
                            )
                    WHEN filter_drop_inwc IS NOT NULL
                        THEN
                            format(
                                'Return duct first: the filter drop is only {:.2f} in. w.c.; look for an undersized return, '
                                || 'a blocked grille, a crushed or closed run.', filter_drop_inwc
                            )
                    ELSE 'Return side: measure the filter drop, then look at filter size, grille and return duct.'
                END
        WHEN 'supply'
            THEN
                CASE
                    WHEN exceeds(coil_drop_inwc, supply_level_inwc / 2)
                        THEN
                            format(
                                'Coil first: its drop of {:.2f} in. w.c. is more than half of the supply static; is it clean, '
                                || 'and does it fit the airflow? It is cleaned as its maker says. Then the supply duct.',
                                coil_drop_inwc
                            )
                    WHEN coil_drop_inwc IS NOT NULL
                        THEN
                            format(
                                'Supply duct first: the coil takes {:.2f} of the supply static of {:.2f} in. w.c.; look for '
                                || 'shut registers and dampers, kinked or badly strapped runs, an undersized trunk.',
                                coil_drop_inwc, supply_level_inwc
                            )
                    WHEN coil_in_span
                        THEN
                            'Supply side: shut registers and dampers, kinked or badly strapped runs, an undersized trunk; '
                            || 'measure the coil drop if there is a coil outside the cabinet.'
                    ELSE
                        'Supply duct first: shut registers and dampers, kinked or badly strapped runs, an undersized '
                        || 'trunk. The rating covers the coil, whose drop is no part of this static.'
                END
        WHEN 'airflow_setting'
            THEN
                'Blower tap first: more air moves than the design asks for, which raises both sides; '
                || 'set the fan by the maker''s table and measure again before touching ducts.'
                || CASE
                    WHEN mode = 'heating' AND equipment_kind = 'furnace'
                        THEN ' Keep the temperature rise within the range on the plate.'
                    WHEN mode = 'heating'
                        THEN
                            ' Keep at least the maker''s airflow for heating: with less, electric heat may overheat and a heat '
                            || 'pump may trip.'
                    ELSE ' Keep at least the maker''s airflow for cooling: with less, the coil may ice.'
                END
        ELSE 'No side stands out: measure again like new, both sides and the drops.'
    END AS check_first,
    CASE motor_kind
        WHEN 'psc' THEN ' This motor loses air as static rises.'
        WHEN 'constant_airflow' THEN ' This motor keeps the air and burns watts as static rises.'
        WHEN 'constant_torque' THEN ' This motor loses some air and burns some watts as static rises.'
        ELSE ''
    END AS motor_says,
    n_visits,
    n_offset_corrected,
    last_on,
    level_lo_inwc,
    level_hi_inwc,
    return_level_inwc,
    supply_level_inwc,
    prob_over_rated,
    prob_side,
    CASE WHEN power_w - power_at_rating_w IS NOT NULL THEN greatest(power_w - power_at_rating_w, 0) END / 1000
    * CASE mode WHEN 'cooling' THEN getvariable('fan_hours_cooling') ELSE getvariable('fan_hours_heating') END
    * getvariable('tariff_per_kwh') AS extra_cost_per_year,
    site_label,
    equipment_kind,
    COLUMNS('^other_')
FROM listed;
