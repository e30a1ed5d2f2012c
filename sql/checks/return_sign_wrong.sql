-- title: Return reads positive
-- consequence: repaired or set_aside
-- why: The return side of a running blower is below atmosphere; a positive return is a dropped sign or a wrong port.
SELECT
    visit_id,
    CASE WHEN sign_repaired THEN 'repaired' ELSE 'set_aside' END AS consequence,
    format('return {:+.3f} and supply {:+.3f} are both positive: ', return_read, supply_read)
    || CASE
        WHEN sign_repaired THEN format('sign of the return restored; reported {:.2f} agrees', reported_inwc)
        WHEN reported_inwc IS NULL THEN 'no reported total to tell what was meant'
        ELSE format('reported {:.2f} does not show a dropped sign', reported_inwc)
    END AS detail
FROM noticed_reading
WHERE sign_case = 'both_positive';
