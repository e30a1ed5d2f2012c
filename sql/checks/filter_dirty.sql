-- title: Filter dirty at the test
-- consequence: not_like_new
-- why: A loaded filter raises the return static: true that day, not comparable with the rating.
SELECT
    visit_id,
    'not_like_new' AS consequence,
    'filter dirty at the test' AS detail
FROM visit
WHERE filter_condition = 'dirty';
