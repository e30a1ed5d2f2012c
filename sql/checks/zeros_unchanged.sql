-- title: The same zero for months
-- consequence: note
-- scope: fleet
-- piece: date_trunc('quarter', visited_on)
-- why: A gauge's zero wanders in its last digit: one pair of zero readings all through a quarter was copied, not read. 0.000 on both ports is what a self-zeroing gauge shows, so it is passed over.
WITH quarter AS (
    SELECT
        technician_id,
        instrument_id,
        date_trunc('quarter', visited_on) AS begins_on,
        count(*) AS n_visits,
        any_value(zero_return) AS same_return,
        any_value(zero_supply) AS same_supply,
        if(min(pressure_unit) = max(pressure_unit), unit_words(any_value(pressure_unit)), 'in mixed units') AS written_in,
        date_diff('day', min(visited_on), max(visited_on)) AS span_days
    FROM visit
    WHERE zero_return IS NOT NULL AND zero_supply IS NOT NULL AND instrument_id IS NOT NULL
    GROUP BY technician_id, instrument_id, date_trunc('quarter', visited_on)
    HAVING
        n_visits >= getvariable('zeros_unchanged_min_visits')
        AND span_days >= getvariable('zeros_unchanged_min_days')
        AND min(zero_return) = max(zero_return)
        AND min(zero_supply) = max(zero_supply)
        AND (same_return <> 0 OR same_supply <> 0)
)

SELECT
    v.visit_id,
    'note' AS consequence,
    format(
        'zero {} and {} {} at each of {} visits with gauge {} over {} days',
        q.same_return, q.same_supply, q.written_in, q.n_visits, q.instrument_id, q.span_days
    ) AS detail
FROM visit AS v
INNER JOIN quarter AS q
    ON
        v.technician_id = q.technician_id
        AND v.instrument_id = q.instrument_id
        AND date_trunc('quarter', v.visited_on) = q.begins_on
WHERE v.zero_return IS NOT NULL AND v.zero_supply IS NOT NULL;
