-- title: Visit in the future
-- consequence: set_aside
-- why: A visit after the reference day has a wrong date, so its place in the history is unknown.
SELECT
    visit_id,
    'set_aside' AS consequence,
    format('visit on {}, which is still to come', visited_on) AS detail
FROM visit
WHERE visited_on > getvariable('today');
