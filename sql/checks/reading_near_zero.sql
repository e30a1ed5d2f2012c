-- title: Readings near zero
-- consequence: set_aside
-- why: A running blower makes pressure: two readings near zero mean it was off, the hose was open, or the gauge was zeroed inside the duct.
SELECT
    visit_id,
    'set_aside' AS consequence,
    format('return {:+.3f} and supply {:+.3f} are both within the limit of zero', return_read, supply_read) AS detail
FROM noticed_reading
WHERE sign_case = 'near_zero';
