-- title: Test holes left open
-- consequence: note
-- why: A test hole that is not plugged leaks air from then on.
SELECT
    visit_id,
    'note' AS consequence,
    'test holes not plugged afterwards' AS detail
FROM visit
WHERE NOT holes_plugged;
