-- title: Probe near a turn
-- consequence: note
-- why: Near a turn the air swirls and the pressure differs across the duct: the reading is used with a wider uncertainty.
SELECT
    visit_id,
    'note' AS consequence,
    concat_ws(
        ' and ',
        CASE WHEN return_location = 'near_turn' THEN 'return' END,
        CASE WHEN supply_location = 'near_turn' THEN 'supply' END
    ) || ' read near a turn' AS detail
FROM visit
WHERE return_location = 'near_turn' OR supply_location = 'near_turn';
