-- title: Reading out of range
-- consequence: set_aside
-- why: No residential blower makes 2.5 in. w.c.: a slip of the pen, the decimal point or the unit.
SELECT
    visit_id,
    'set_aside' AS consequence,
    format('return {:+.3f}, supply {:+.3f} in. w.c. after all repairs', return_inwc, supply_inwc) AS detail
FROM noticed_reading
WHERE out_of_range;
