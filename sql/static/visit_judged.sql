-- What the findings say of each visit as a whole: set aside, and why; not like new. Only visits of which they say so.
CREATE OR REPLACE VIEW visit_judged AS
SELECT
    f.visit_id,
    -- Sorted after it is gathered: twice as fast as gathered in order.
    array_to_string(list_sort(list(f.check_id) FILTER (WHERE f.consequence = 'set_aside')), ', ') AS set_aside_because
FROM finding AS f
INNER JOIN check_catalog AS c USING (check_id)
WHERE f.consequence = 'not_like_new' OR (f.consequence = 'set_aside' AND c.applies_to = 'visit')
GROUP BY f.visit_id;
