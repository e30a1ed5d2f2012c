-- The verdict on each equipment and mode with any loaded visit. The level's distribution is Student's t around the
-- weighted mean, its scatter pooled with the fleet's, what a measurer shares added.
CREATE OR REPLACE TABLE site_static AS
WITH seen AS (
    SELECT
        v.equipment_id,
        v.mode,
        any_value(v.site_id) AS site_id,
        count(*) AS n_loaded,
        count(*) FILTER (WHERE v.valid) AS n_valid,
        avg(
            v.tesp_inwc
            - CASE WHEN o.supply_doubtful THEN o.supply_offset_inwc ELSE 0 END
            + CASE WHEN o.return_doubtful THEN o.return_offset_inwc ELSE 0 END
        ) FILTER (WHERE v.valid AND v.since_last_work) AS as_found_level_inwc,
        count(*) FILTER (WHERE v.valid AND v.since_last_work) AS n_as_found
    FROM visit_static AS v
    LEFT JOIN instrument_offset AS o
        ON v.technician_id = o.technician_id AND coalesce(v.instrument_id, '') = coalesce(o.instrument_id, '')
    GROUP BY v.equipment_id, v.mode
),

sides AS (
    SELECT
        equipment_id,
        mode,
        min(visited_on) AS first_on,
        max(visited_on) AS last_on,
        sum(weight * return_inwc) FILTER (WHERE sides_known) / sum(weight) FILTER (WHERE sides_known)
            AS return_level_inwc,
        sum(weight * supply_inwc) FILTER (WHERE sides_known) / sum(weight) FILTER (WHERE sides_known)
            AS supply_level_inwc,
        sum(weight * airflow_ratio) / sum(weight) FILTER (WHERE airflow_ratio IS NOT NULL) AS airflow_ratio,
        sum(weight * airflow_cfm) / sum(weight) FILTER (WHERE airflow_cfm IS NOT NULL) AS airflow_cfm,
        any_value(design_cfm) AS design_cfm,
        sum(weight * power_w) / sum(weight) FILTER (WHERE power_w IS NOT NULL) AS power_w,
        count(*) FILTER (WHERE offset_corrected) AS n_offset_corrected
    FROM level_weight
    GROUP BY equipment_id, mode
),

spread AS (
    SELECT
        *,
        getvariable('scatter_prior_df') + n - 1 AS df,
        sqrt(
            (
                getvariable('scatter_prior_df') * getvariable('scatter_prior_variance')
                + (n - 1) * coalesce(scatter_variance, 0)
            ) / (getvariable('scatter_prior_df') + n - 1) / effective_visits + shared_variance
        ) AS level_se
    FROM level_scatter
),

distribution AS (
    SELECT
        s.*,
        e.rated_tesp_inwc,
        (s.level_inwc - e.rated_tesp_inwc) / s.level_se AS distance,
        student_t_cdf(distance, s.df) AS prob_over_rated,
        greatest(
            (s.level_inwc - e.rated_tesp_inwc) * prob_over_rated
            + s.level_se * student_t_pdf(distance, s.df) * (s.df + pow(distance, 2)) / nullif(s.df - 1, 0), 0
        ) AS expected_excess_inwc,
        s.level_se * student_t_quantile(0.975::DOUBLE, s.df) AS half_width
    FROM spread AS s
    INNER JOIN equipment AS e USING (equipment_id)
),

verdict AS (
    SELECT
        n.site_id,
        t.branch,
        n.equipment_id,
        n.mode,
        coalesce(d.n, 0) AS n_visits,
        p.first_on,
        p.last_on,
        d.level_inwc,
        d.level_inwc - d.half_width AS level_lo_inwc,
        d.level_inwc + d.half_width AS level_hi_inwc,
        d.level_se AS level_se_inwc,
        d.df AS level_df,
        n.as_found_level_inwc,
        e.rated_tesp_inwc,
        d.prob_over_rated,
        d.expected_excess_inwc,
        p.return_level_inwc,
        p.supply_level_inwc,
        p.airflow_ratio,
        p.airflow_cfm,
        p.design_cfm,
        p.power_w,
        coalesce(p.n_offset_corrected, 0) AS n_offset_corrected,
        CASE
            WHEN coalesce(d.n, 0) < getvariable('min_visits') THEN 'too_few_visits'
            WHEN
                d.prob_over_rated >= getvariable('chronic_probability')
                AND date_diff('day', p.first_on, p.last_on) >= getvariable('min_span_days') THEN 'chronic'
            WHEN d.prob_over_rated <= getvariable('within_probability') THEN 'within_rating'
            ELSE 'uncertain'
        END AS static_state,
        n.n_loaded,
        n.n_valid,
        n.n_as_found
    FROM seen AS n
    INNER JOIN equipment AS e USING (equipment_id)
    INNER JOIN site AS t ON n.site_id = t.site_id
    LEFT JOIN distribution AS d ON n.equipment_id = d.equipment_id AND n.mode = d.mode
    LEFT JOIN sides AS p ON n.equipment_id = p.equipment_id AND n.mode = p.mode
)

SELECT
    v.*,
    CASE WHEN v.static_state IN ('within_rating', 'too_few_visits') THEN 'none' ELSE coalesce(c.side, 'none') END
        AS problem_side,
    CASE WHEN v.static_state NOT IN ('within_rating', 'too_few_visits') THEN c.prob_side END AS prob_side,
    c.return_cause AS return_restriction_inwc,
    c.supply_cause AS supply_restriction_inwc,
    CASE WHEN c.airflow_known THEN c.airflow_cause END AS airflow_setting_inwc,
    v.static_state = 'within_rating' AND v.as_found_level_inwc > v.rated_tesp_inwc AS needs_upkeep
FROM verdict AS v
LEFT JOIN site_cause AS c USING (equipment_id, mode)
ORDER BY v.equipment_id, v.mode;
