-- Equipment whose readings step rather than drift: an unrecorded repair, a swapped unit. Every place between two days of
-- visits is tried; the best step (a level a mode, one step for all modes) is named where it explains the readings far
-- better than a line (likelihood ratio) and than no change (with the price of having looked at every place).
-- Readings with a doubtful zero do not vote: a correction that does not fit one of them looks like a step.
CREATE OR REPLACE TABLE change_point AS
WITH voting AS (
    SELECT v.unit_no, v.equipment_no, v.visited_on, v.at_year, v.tesp_inwc, t.n_visits, t.n_modes
    FROM series_visit AS v
    INNER JOIN trend_start AS t USING (equipment_no)
    WHERE NOT v.offset_corrected
),

mode_mean AS (
    SELECT unit_no, avg(at_year) AS mean_year, avg(tesp_inwc) AS mean_inwc
    FROM voting
    GROUP BY unit_no
),

centred AS MATERIALIZED (
    SELECT
        v.equipment_no,
        v.unit_no % 2 AS mode_no,
        v.visited_on,
        v.n_visits,
        v.n_modes,
        v.at_year - m.mean_year AS dx,
        v.tesp_inwc - m.mean_inwc AS dy
    FROM voting AS v
    INNER JOIN mode_mean AS m USING (unit_no)
),

whole AS (
    SELECT
        equipment_no,
        any_value(n_visits) AS n_visits,
        any_value(n_modes) AS n_modes,
        count(*) FILTER (WHERE mode_no = 0) AS n_0,
        count(*) FILTER (WHERE mode_no = 1) AS n_1,
        sum(dy * dy) AS around_none,
        greatest(sum(dy * dy) - pow(sum(dx * dy), 2) / nullif(sum(dx * dx), 0), 0) AS around_line
    FROM centred
    GROUP BY equipment_no
),

day AS (
    SELECT
        equipment_no,
        visited_on,
        count(*) FILTER (WHERE mode_no = 0) AS n_0,
        count(*) FILTER (WHERE mode_no = 1) AS n_1,
        sum(dy) AS dy
    FROM centred
    GROUP BY equipment_no, visited_on
),

place AS (
    SELECT
        equipment_no,
        visited_on AS last_before_on,
        lead(visited_on) OVER in_time AS first_after_on,
        sum(n_0) OVER in_time AS before_0,
        sum(n_1) OVER in_time AS before_1,
        -sum(dy) OVER in_time AS dy_after
    FROM day
    WINDOW in_time AS (PARTITION BY equipment_no ORDER BY visited_on)
),

tried AS (
    -- Least squares of a step that is centred within each mode: sxx = n_after n_before / n, sxy = dy_after.
    SELECT
        p.equipment_no,
        p.last_before_on,
        p.first_after_on,
        w.n_visits,
        w.n_modes,
        w.around_none,
        w.around_line,
        p.before_0 + p.before_1 AS n_before,
        w.n_0 + w.n_1 - n_before AS n_after,
        coalesce(p.before_0 * (w.n_0 - p.before_0) / nullif(w.n_0, 0), 0)
        + coalesce(p.before_1 * (w.n_1 - p.before_1) / nullif(w.n_1, 0), 0) AS sxx,
        p.dy_after AS sxy
    FROM place AS p
    INNER JOIN whole AS w USING (equipment_no)
    WHERE p.first_after_on IS NOT NULL AND n_before >= 2 AND n_after >= 2 AND sxx > 1e-9
),

best AS (
    SELECT
        *,
        sxy / sxx AS step_inwc,
        count(*) OVER (PARTITION BY equipment_no) AS n_places
    FROM tried
    QUALIFY row_number() OVER (PARTITION BY equipment_no ORDER BY round(sxy * sxy / sxx, 12) DESC, last_before_on) = 1
),

weighed AS (
    SELECT
        b.*,
        least(getvariable('trend_prior_df'), getvariable('trend_prior_df_cap')) AS prior_df,
        prior_df * getvariable('trend_prior_variance') AS prior_sum,
        greatest(b.around_none - b.sxy * b.sxy / b.sxx, 0) AS around_step,
        (b.n_visits + prior_df) / 2 * ln((b.around_line + prior_sum) / (around_step + prior_sum)) AS over_line,
        (b.n_visits + prior_df) / 2 * ln((b.around_none + prior_sum) / (around_step + prior_sum)) - ln(b.n_places) AS over_none,
        sqrt((around_step + prior_sum) / (b.n_visits - b.n_modes - 1 + prior_df) / b.sxx) AS step_se
    FROM best AS b
)

SELECT
    n.equipment_id,
    s.site_id,
    w.last_before_on,
    w.first_after_on,
    w.n_before::BIGINT AS n_before,
    w.n_after::BIGINT AS n_after,
    w.step_inwc,
    w.step_inwc - 1.959963984540054 * w.step_se AS step_lo,
    w.step_inwc + 1.959963984540054 * w.step_se AS step_hi,
    w.over_line AS log_likelihood_over_line
FROM weighed AS w
INNER JOIN equipment_number AS n USING (equipment_no)
INNER JOIN equipment AS s USING (equipment_id)
WHERE
    abs(w.step_inwc) >= getvariable('change_point_material_inwc')
    AND w.over_line >= getvariable('change_point_evidence')
    AND w.over_none >= getvariable('change_point_evidence') + 3
ORDER BY w.equipment_no;
