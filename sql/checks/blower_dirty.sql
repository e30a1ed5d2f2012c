-- title: Blower wheel dirty at the test
-- consequence: not_like_new
-- why: A fouled wheel moves less air: true that day, not comparable with the rating.
-- of: unit
SELECT
    visit_id,
    'not_like_new' AS consequence,
    'blower wheel dirty at the test' AS detail
FROM visit
WHERE blower_condition = 'dirty';
