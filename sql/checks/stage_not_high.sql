-- title: Blower not at high stage
-- consequence: set_aside
-- why: The rating is for high stage: at low stage less air moves and every static is lower.
SELECT
    visit_id,
    'set_aside' AS consequence,
    'blower at low stage' AS detail
FROM visit
WHERE blower_stage = 'low';
