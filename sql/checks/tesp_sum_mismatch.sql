-- title: Reported total does not add up
-- consequence: note
-- why: The total written down should be supply minus return: adding signed numbers by hand goes wrong, or one reading was copied wrongly.
SELECT
    visit_id,
    'note' AS consequence,
    format('reported {:.2f}, but supply - return is {:.3f}', reported_inwc, tesp_signed) AS detail
FROM noticed_reading
WHERE sum_differs;
