-- title: Supply reads negative
-- consequence: repaired or set_aside
-- why: The supply side of a running blower is above atmosphere; a negative supply is a dropped sign or a wrong port.
SELECT
    visit_id,
    CASE WHEN sign_repaired THEN 'repaired' ELSE 'set_aside' END AS consequence,
    format('return {:+.3f} and supply {:+.3f} are both negative: ', return_read, supply_read)
    || CASE
        WHEN sign_repaired THEN format('sign of the supply restored; reported {:.2f} agrees', reported_inwc)
        WHEN reported_inwc IS NULL THEN 'no reported total to tell what was meant'
        ELSE format('reported {:.2f} does not show a wrong sign', reported_inwc)
    END AS detail
FROM noticed_reading
WHERE sign_case = 'both_negative';
