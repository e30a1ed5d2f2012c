-- Equipment whose readings step rather than drift: an unrecorded repair, a swapped unit. Every place between two days of
-- visits is tried; the best step (a level a mode, one step for all modes) is named where it explains the readings far
-- better than a line (likelihood ratio) and than no change (with the price of having looked at every place), and where it
-- rests on no single visit: without any one of them, fitted anew, it is still material and explains more than a line.
-- Readings with a doubtful zero do not vote: a correction that does not fit one of them looks like a step.
CREATE OR REPLACE TABLE change_point AS
WITH weighed AS (
    SELECT
        b.*,
        getvariable('trend_prior_df') AS prior_df,
        prior_df * getvariable('trend_prior_variance') AS prior_sum,
        (b.n_visits + prior_df) / 2 * ln((b.around_line + prior_sum) / (b.around_step + prior_sum)) AS over_line,
        (b.n_visits + prior_df) / 2 * ln((b.around_none + prior_sum) / (b.around_step + prior_sum)) - ln(b.n_places)
            AS over_none,
        b.sxy / b.sxx AS step_inwc,
        sqrt((b.around_step + prior_sum) / (b.n_visits - b.n_modes - 1 + prior_df) / b.sxx) AS step_se
    FROM change_place AS b
)

SELECT
    n.equipment_id,
    s.site_id,
    DATE '1970-01-01' + w.last_before::INTEGER AS last_before_on,
    DATE '1970-01-01' + w.first_after::INTEGER AS first_after_on,
    w.n_before::BIGINT AS n_before,
    w.n_after::BIGINT AS n_after,
    w.step_inwc,
    w.step_inwc - 1.959963984540054 * w.step_se AS step_lo,
    w.step_inwc + 1.959963984540054 * w.step_se AS step_hi,
    w.over_line AS log_likelihood_over_line
FROM weighed AS w
INNER JOIN staging.equipment_facts AS n USING (equipment_no)
INNER JOIN equipment AS s USING (equipment_id)
WHERE
    w.holds_without_any
    AND abs(w.step_inwc) >= getvariable('change_point_material_inwc')
    AND w.over_line >= getvariable('change_point_evidence')
    AND w.over_none >= getvariable('change_point_evidence') + 3
ORDER BY w.equipment_no;
