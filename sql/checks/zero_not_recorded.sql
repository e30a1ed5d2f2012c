-- title: Zero not recorded
-- consequence: set_aside
-- why: Without a zero to atmosphere a manometer's drift cannot be told from pressure in the duct.
SELECT
    visit_id,
    'set_aside' AS consequence,
    'no zeroing time and no zero readings on record' AS detail
FROM reading
WHERE zero_missing;
