-- The verdict on each equipment and mode with any loaded visit (unit_seen.sql). The level's distribution is Student's t
-- around the weighted mean, its scatter pooled with the fleet's, what a measurer shares added. Published as site_static,
-- without what only roll-ups and lists ask for; the ids and the numbers with all their digits are written down as they are (visit_measured.sql says why).
CREATE OR REPLACE TABLE staging.unit_verdict ( -- noqa: PRS
    unit_no INTEGER,
    equipment_no INTEGER,
    last_valid_on DATE,
    in_service BOOLEAN,
    equipment_kind VARCHAR,
    motor_kind VARCHAR,
    installed_on DATE,
    site_id VARCHAR USING COMPRESSION uncompressed,
    site_no INTEGER,
    branch VARCHAR,
    equipment_id VARCHAR USING COMPRESSION uncompressed,
    mode VARCHAR,
    n_visits BIGINT,
    first_on DATE,
    last_on DATE,
    level_on DATE,
    level_inwc DOUBLE USING COMPRESSION uncompressed,
    level_lo_inwc DOUBLE USING COMPRESSION uncompressed,
    level_hi_inwc DOUBLE USING COMPRESSION uncompressed,
    level_se_inwc DOUBLE USING COMPRESSION uncompressed,
    level_df DOUBLE,
    as_found_level_inwc DOUBLE USING COMPRESSION uncompressed,
    rated_tesp_inwc DOUBLE,
    prob_over_rated DOUBLE USING COMPRESSION uncompressed,
    expected_excess_inwc DOUBLE USING COMPRESSION uncompressed,
    return_level_inwc DOUBLE USING COMPRESSION uncompressed,
    supply_level_inwc DOUBLE USING COMPRESSION uncompressed,
    airflow_ratio DOUBLE USING COMPRESSION uncompressed,
    airflow_cfm DOUBLE USING COMPRESSION uncompressed,
    design_cfm DOUBLE,
    power_w DOUBLE USING COMPRESSION uncompressed,
    n_offset_corrected BIGINT,
    static_state VARCHAR,
    n_loaded BIGINT,
    n_valid BIGINT,
    n_as_found BIGINT,
    problem_side VARCHAR,
    prob_side DOUBLE USING COMPRESSION uncompressed,
    return_restriction_inwc DOUBLE USING COMPRESSION uncompressed,
    supply_restriction_inwc DOUBLE USING COMPRESSION uncompressed,
    airflow_setting_inwc DOUBLE USING COMPRESSION uncompressed,
    needs_upkeep BOOLEAN
);

INSERT INTO staging.unit_verdict BY NAME
WITH numbered AS (
    SELECT
        s.*,
        n.equipment_id,
        2 * n.equipment_no + (s.mode = 'heating')::INTEGER AS unit_no,
        n.site_id,
        n.site_no,
        n.branch,
        n.retired_on IS NULL OR n.retired_on > getvariable('today') AS in_service,
        n.equipment_kind,
        n.motor_kind,
        n.installed_on,
        n.rated_tesp_inwc,
        CASE s.mode WHEN 'cooling' THEN n.design_cooling_cfm ELSE n.design_heating_cfm END AS design_cfm
    FROM unit_seen AS s
    INNER JOIN staging.equipment_facts AS n USING (equipment_no)
),

-- Student's t for each number of visits that occurs: it depends on nothing else of a unit.
student AS (
    SELECT
        n,
        getvariable('scatter_prior_df') + n - 1 AS df,
        student_t_quantile(0.975::DOUBLE, df) AS t_975,
        student_t_pdf(0::DOUBLE, df) AS density_at_0
    FROM (SELECT DISTINCT n FROM level_scatter) AS d
),

level AS (
    SELECT
        l.*,
        t.df,
        t.density_at_0,
        sqrt(
            (
                getvariable('scatter_prior_df') * getvariable('scatter_prior_variance')
                + (l.n - 1) * coalesce(l.scatter_variance, 0)
            ) / t.df / l.effective_visits + l.shared_variance
        ) AS level_se,
        level_se * t.t_975 AS half_width
    FROM level_scatter AS l
    INNER JOIN student AS t ON l.n = t.n
),

judged AS (
    SELECT
        n.* EXCLUDE (design_cfm),
        l.* EXCLUDE (unit_no),
        CASE WHEN l.n > 0 THEN n.design_cfm END AS design_cfm,
        (l.level_inwc - n.rated_tesp_inwc) / l.level_se AS distance,
        student_t_cdf(distance, l.df) AS prob_over_rated
    FROM numbered AS n
    LEFT JOIN level AS l USING (unit_no)
),

verdict AS (
    SELECT
        j.unit_no,
        j.equipment_no,
        j.last_valid_on,
        j.in_service,
        j.equipment_kind,
        j.motor_kind,
        j.installed_on,
        j.site_id,
        j.site_no,
        j.branch,
        j.equipment_id,
        j.mode,
        coalesce(j.n, 0) AS n_visits,
        j.first_on,
        j.last_on,
        j.level_on,
        j.level_inwc,
        j.level_inwc - j.half_width AS level_lo_inwc,
        j.level_inwc + j.half_width AS level_hi_inwc,
        j.level_se AS level_se_inwc,
        j.df AS level_df,
        j.as_found_level_inwc,
        j.rated_tesp_inwc,
        j.prob_over_rated,
        CASE
            WHEN j.n > 0
                THEN
                    greatest(
                        (j.level_inwc - j.rated_tesp_inwc) * j.prob_over_rated
                        + j.level_se * j.density_at_0 * pow(1 + pow(j.distance, 2) / j.df, -(j.df + 1) / 2)
                        * (j.df + pow(j.distance, 2)) / nullif(j.df - 1, 0),
                        0
                    )
        END AS expected_excess_inwc,
        j.return_level_inwc,
        j.supply_level_inwc,
        j.airflow_ratio,
        j.airflow_cfm,
        j.design_cfm,
        j.power_w,
        coalesce(j.n_offset_corrected, 0) AS n_offset_corrected,
        CASE
            WHEN coalesce(j.n, 0) < getvariable('min_visits') THEN 'too_few_visits'
            WHEN
                j.prob_over_rated >= getvariable('chronic_probability')
                AND date_diff('day', j.first_on, j.last_on) >= getvariable('min_span_days') THEN 'chronic'
            WHEN j.prob_over_rated <= getvariable('within_probability') THEN 'within_rating'
            ELSE 'uncertain'
        END AS static_state,
        j.n_loaded,
        j.n_valid,
        j.n_as_found
    FROM judged AS j
),

-- The variance of a cause's lead over another borrows the fleet's.
lead_over AS (
    SELECT
        *,
        getvariable('scatter_prior_df') + n - 1 AS df,
        getvariable('scatter_prior_df') * getvariable('cause_variance') AS fleet_sum,
        sqrt((fleet_sum + (n - 1) * coalesce(variance_1, 0)) / df / n) AS se_1,
        sqrt((fleet_sum + (n - 1) * coalesce(variance_2, 0)) / df / n) AS se_2,
        (fleet_sum + (n - 1) * coalesce(variance_rivals, 0)) / df / n AS rivals
    FROM cause_lead
)

SELECT
    v.*,
    CASE WHEN v.static_state IN ('within_rating', 'too_few_visits') THEN 'none' ELSE coalesce(c.side, 'none') END
        AS problem_side,
    -- The chance that its leads over both rivals are above zero; they have the cause itself in common, so they go together.
    -- Where no airflow is known it is not given.
    CASE
        WHEN v.static_state NOT IN ('within_rating', 'too_few_visits') AND c.airflow_known
            THEN
                bivariate_t_cdf(
                    c.margin_1 / c.se_1,
                    c.margin_2 / c.se_2,
                    (c.se_1 * c.se_1 + c.se_2 * c.se_2 - c.rivals) / (2 * c.se_1 * c.se_2),
                    c.df
                )
    END AS prob_side,
    c.return_cause AS return_restriction_inwc,
    c.supply_cause AS supply_restriction_inwc,
    CASE WHEN c.airflow_known THEN c.airflow_cause END AS airflow_setting_inwc,
    v.static_state = 'within_rating' AND exceeds(v.as_found_level_inwc, v.rated_tesp_inwc) AS needs_upkeep
FROM verdict AS v
LEFT JOIN lead_over AS c USING (unit_no);
