-- Units whose readings step rather than drift: an unrecorded repair, a swapped unit. Every place between two days of
-- visits is tried; the best step (a level a mode, one step for all modes) is named where it explains the readings far
-- better than a line (likelihood ratio) and than no change (with the price of having looked at every place).
-- Readings with a doubtful zero do not vote: a correction that does not fit one of them looks like a step.
CREATE OR REPLACE TABLE change_point AS
WITH centred AS (
    SELECT
        v.equipment_id,
        v.mode,
        v.visited_on,
        v.at_year - avg(v.at_year) OVER by_mode AS dx,
        v.tesp_inwc - avg(v.tesp_inwc) OVER by_mode AS dy,
        t.n_visits,
        t.n_modes
    FROM level_visit AS v
    INNER JOIN trend_start AS t USING (equipment_id)
    WHERE NOT v.offset_corrected
    WINDOW by_mode AS (PARTITION BY v.equipment_id, v.mode)
),

unit AS (
    SELECT
        equipment_id,
        any_value(n_visits) AS n_visits,
        any_value(n_modes) AS n_modes,
        sum(dy * dy) AS around_none,
        greatest(sum(dy * dy) - pow(sum(dx * dy), 2) / nullif(sum(dx * dx), 0), 0) AS around_line
    FROM centred
    GROUP BY equipment_id
),

place AS (
    SELECT
        equipment_id,
        visited_on AS last_before_on,
        lead(visited_on) OVER (PARTITION BY equipment_id ORDER BY visited_on) AS first_after_on
    FROM (SELECT DISTINCT equipment_id, visited_on FROM centred)
    QUALIFY first_after_on IS NOT NULL
),

side AS (
    SELECT
        p.equipment_id,
        p.last_before_on,
        p.first_after_on,
        c.mode,
        count(*) AS n,
        count(*) FILTER (WHERE c.visited_on > p.last_before_on) AS n_after,
        sum(c.dy) FILTER (WHERE c.visited_on > p.last_before_on) AS dy_after
    FROM place AS p
    INNER JOIN centred AS c USING (equipment_id)
    GROUP BY p.equipment_id, p.last_before_on, p.first_after_on, c.mode
),

tried AS (
    -- Least squares of a step that is centred within each mode: sxx = n_after (1 - n_after / n), sxy = dy_after.
    SELECT
        equipment_id,
        last_before_on,
        first_after_on,
        sum(n - n_after) AS n_before,
        sum(n_after) AS n_after,
        sum(n_after * (1 - n_after / n)) AS sxx,
        sum(coalesce(dy_after, 0)) AS sxy
    FROM side
    GROUP BY equipment_id, last_before_on, first_after_on
    HAVING n_before >= 2 AND sum(n_after) >= 2 AND sxx > 1e-9
),

best AS (
    SELECT
        *,
        sxy / sxx AS step_inwc,
        count(*) OVER (PARTITION BY equipment_id) AS n_places
    FROM tried
    QUALIFY row_number() OVER (PARTITION BY equipment_id ORDER BY sxy * sxy / sxx DESC, last_before_on) = 1
),

weighed AS (
    SELECT
        b.*,
        u.n_visits,
        least(getvariable('trend_prior_df'), getvariable('trend_prior_df_cap')) AS prior_df,
        prior_df * getvariable('trend_prior_variance') AS prior_sum,
        greatest(u.around_none - b.sxy * b.sxy / b.sxx, 0) AS around_step,
        (u.n_visits + prior_df) / 2 * ln((u.around_line + prior_sum) / (around_step + prior_sum)) AS over_line,
        (u.n_visits + prior_df) / 2 * ln((u.around_none + prior_sum) / (around_step + prior_sum)) - ln(b.n_places) AS over_none,
        sqrt((around_step + prior_sum) / (u.n_visits - u.n_modes - 1 + prior_df) / b.sxx) AS step_se
    FROM best AS b
    INNER JOIN unit AS u USING (equipment_id)
)

SELECT
    w.equipment_id,
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
INNER JOIN equipment AS s USING (equipment_id)
WHERE
    abs(w.step_inwc) >= getvariable('change_point_material_inwc')
    AND w.over_line >= getvariable('change_point_evidence')
    AND w.over_none >= getvariable('change_point_evidence') + 3
ORDER BY w.equipment_id;
