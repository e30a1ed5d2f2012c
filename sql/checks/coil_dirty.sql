-- title: Coil dirty at the test
-- consequence: not_like_new
-- why: A fouled coil raises the static: true that day, not comparable with the rating.
-- of: unit
SELECT
    visit_id,
    'not_like_new' AS consequence,
    'coil dirty at the test' AS detail
FROM visit
WHERE coil_condition = 'dirty';
