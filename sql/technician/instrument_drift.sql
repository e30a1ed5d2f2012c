-- A row per gauge and port: how its offset moves a year, whether it stepped at the recorded calibration, and when it will
-- have moved to a material offset. Slopes are relative to the median gauge of the connected group: if all drift alike,
-- nobody can tell. A gauge in one hand only may show that hand's habits; n_technicians says so.
CREATE OR REPLACE TEMP TABLE drift_judged AS
WITH gauge AS (
    SELECT
        m.instrument_id,
        sum(c.n_visits)::BIGINT AS n_visits,
        count(DISTINCT m.technician_id) AS n_technicians,
        min(c.first_on) AS first_on,
        max(c.last_on) AS last_on,
        any_value(m.calibrated_on) AS calibrated_on
    FROM offset_cell AS c
    INNER JOIN offset_measurer AS m USING (measurer)
    WHERE m.instrument_id <> ''
    GROUP BY m.instrument_id
),

roughly AS (
    SELECT f.*, abs(f.slope - median(f.slope) OVER (PARTITION BY f.port, f.group_no)) <= 3 * f.slope_se AS may_be_sound
    FROM drift_fit AS f
),

centre AS (
    -- The median of the gauges that do not stand out; its own error (1.2533: of a median under the normal) is added.
    SELECT
        port,
        group_no,
        count(*) AS n_gauges,
        median(slope) FILTER (WHERE may_be_sound) AS centre,
        1.2533 * median(slope_se) FILTER (WHERE may_be_sound)
        / sqrt(count(*) FILTER (WHERE may_be_sound)) AS centre_se
    FROM roughly
    GROUP BY port, group_no
),

centred AS (
    SELECT
        f.* REPLACE (f.slope - c.centre AS slope, sqrt(pow(f.slope_se, 2) + pow(c.centre_se, 2)) AS slope_se),
        c.n_gauges
    FROM drift_fit AS f
    INNER JOIN centre AS c USING (port, group_no)
)

SELECT
    g.*,
    p.port,
    c.slope,
    c.slope_se,
    c.step,
    c.step_se,
    c.latest,
    c.df,
    CASE
        WHEN g.n_visits < getvariable('technician_min_visits') THEN 'too_few_visits'
        WHEN c.slope IS NULL OR c.n_gauges < getvariable('offset_min_group') THEN 'cannot_be_told'
        -- Years too close together, or too few readings: a line is drawn through noise.
        WHEN c.slope_se > getvariable('offset_material_inwc') THEN 'cannot_be_told'
        WHEN date_diff('day', g.first_on, g.last_on) < getvariable('drift_min_span_days') THEN 'cannot_be_told'
    END AS not_told
FROM gauge AS g
CROSS JOIN (SELECT unnest(['return', 'supply', 'both']) AS port) AS p
LEFT JOIN centred AS c ON g.instrument_id = c.instrument_id AND p.port = c.port;

CREATE OR REPLACE TEMP TABLE drift_tested AS
SELECT
    instrument_id,
    port,
    2 * (1 - student_t_cdf(abs(slope / slope_se), df)) AS p_value
FROM drift_judged
WHERE not_told IS NULL;

CREATE OR REPLACE TABLE instrument_drift AS
WITH told AS (
    SELECT
        j.instrument_id,
        j.port,
        j.n_visits,
        j.n_technicians,
        j.first_on,
        j.last_on,
        CASE WHEN j.not_told IS NULL THEN j.slope END AS slope_inwc_per_year,
        slope_inwc_per_year - student_t_quantile(0.975::DOUBLE, j.df) * j.slope_se AS slope_lo,
        slope_inwc_per_year + student_t_quantile(0.975::DOUBLE, j.df) * j.slope_se AS slope_hi,
        a.q_bh AS q_value,
        CASE
            WHEN j.not_told IS NOT NULL THEN j.not_told
            WHEN
                a.q_bh <= getvariable('technician_q')
                AND abs(j.slope) >= getvariable('drift_material_inwc_per_year')
                THEN 'drifting'
            ELSE 'no_drift_seen'
        END AS drift_state,
        CASE WHEN j.not_told IS NULL THEN j.latest END AS latest_offset_inwc,
        j.calibrated_on,
        CASE WHEN j.not_told IS NULL THEN j.step END AS step_inwc,
        step_inwc - student_t_quantile(0.975::DOUBLE, j.df) * j.step_se AS step_lo,
        step_inwc + student_t_quantile(0.975::DOUBLE, j.df) * j.step_se AS step_hi,
        -- Years from the last reading to the material offset on the side that the slope leads to.
        (sign(j.slope) * getvariable('offset_material_inwc') - j.latest) / nullif(j.slope, 0) AS years_to_go
    FROM drift_judged AS j
    LEFT JOIN bh_adjusted('drift_tested') AS a USING (instrument_id, port)
)

SELECT
    * EXCLUDE (years_to_go),
    CASE
        WHEN drift_state = 'drifting' AND abs(years_to_go) <= getvariable('drift_horizon_years')
            THEN (last_on + to_days((years_to_go * getvariable('days_per_year'))::INTEGER))::DATE
    END AS material_on,
    CASE
        WHEN drift_state IN ('too_few_visits', 'cannot_be_told') THEN drift_state
        WHEN drift_state = 'no_drift_seen' THEN 'none'
        WHEN years_to_go <= 0 OR material_on <= getvariable('today') THEN 'recalibrate_now'
        WHEN material_on IS NULL THEN 'none'
        ELSE 'recalibrate_by_then'
    END AS advice
FROM told
ORDER BY instrument_id, port;
