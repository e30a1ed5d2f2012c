-- title: Zero not recorded
-- consequence: set_aside
-- why: Without a zero to atmosphere a manometer's drift cannot be told from pressure in the duct.
SELECT
    visit_id,
    'set_aside' AS consequence,
    'no zeroing time and no zero readings on record' AS detail
FROM visit
WHERE zeroed_at IS NULL AND zero_return IS NULL AND zero_supply IS NULL;
