-- title: Zeroed after the reading
-- consequence: set_aside
-- why: A zero taken after the reading says nothing of the gauge at the reading; often a clerical time.
SELECT
    visit_id,
    'set_aside' AS consequence,
    format('zeroed {:.1f} min after the reading', date_diff('second', visited_at, zeroed_at) / 60.0) AS detail
FROM visit
WHERE zeroed_at > visited_at;
