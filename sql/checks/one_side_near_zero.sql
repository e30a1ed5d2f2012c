-- title: One side near zero
-- consequence: note
-- why: Air moves on both sides or on none: one side at zero beside a real reading on the other means a hose off its port, a blocked tip, or a probe that never entered the duct.
SELECT
    visit_id,
    'note' AS consequence,
    format('return {:+.3f}, supply {:+.3f}: one side shows nothing', return_inwc, supply_inwc) AS detail
FROM noticed_reading
WHERE one_side_near_zero;
