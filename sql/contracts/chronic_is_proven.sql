-- rule: chronic needs its visits and its probability
-- table: site_static
SELECT equipment_id || ' ' || mode AS what
FROM site_static
WHERE (static_state = 'chronic' AND NOT (
    n_visits >= getvariable('min_visits') AND prob_over_rated >= getvariable('chronic_probability')
    AND date_diff('day', first_on, last_on) >= getvariable('min_span_days')
))
OR (static_state = 'within_rating' AND NOT (
    n_visits >= getvariable('min_visits') AND prob_over_rated <= getvariable('within_probability')
))
OR (static_state = 'too_few_visits') <> (n_visits < getvariable('min_visits'))
OR (static_state IN ('within_rating', 'too_few_visits') AND problem_side <> 'none')
