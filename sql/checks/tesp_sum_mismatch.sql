-- title: Reported total does not add up
-- consequence: note
-- why: The total written down should be supply minus return: adding signed numbers by hand goes wrong, or one reading was copied wrongly.
SELECT
    visit_id,
    'note' AS consequence,
    format('reported {:.2f}, but supply - return is {:.3f}', reported_inwc, tesp_signed) AS detail
FROM repaired_reading
WHERE
    exceeds(abs(reported_inwc - tesp_signed), getvariable('sum_tolerance_inwc'))
    AND exceeds(abs(reported_inwc - tesp_signed), getvariable('sum_tolerance_share') * abs(tesp_signed));
