-- title: Ports exchanged
-- consequence: repaired or set_aside
-- why: Hoses on the wrong ports exchange the two readings. Two wrong signs look the same: the total stands, the sides do not count.
SELECT
    visit_id,
    CASE WHEN sign_repaired THEN 'repaired' ELSE 'set_aside' END AS consequence,
    format('return {:+.3f} and supply {:+.3f}: ', return_read, supply_read)
    || CASE
        WHEN sign_repaired AND reported_inwc IS NULL THEN 'exchanged; no reported total against it'
        WHEN sign_repaired THEN format('exchanged; reported {:.2f} agrees', reported_inwc)
        ELSE format('reported {:.2f} contradicts an exchange', reported_inwc)
    END AS detail
FROM noticed_reading
WHERE sign_case = 'crossed';
