-- title: Registers closed at the test
-- consequence: not_like_new
-- why: Closed registers raise the supply static: true that day, not the ducts' fault.
SELECT
    visit_id,
    'not_like_new' AS consequence,
    'some registers closed at the test' AS detail
FROM visit
WHERE registers = 'some_closed';
