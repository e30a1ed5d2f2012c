-- title: Zero reading too large
-- consequence: set_aside
-- why: A gauge that shows more than 0.02 in. w.c. at atmosphere was not zeroed, or needs service.
SELECT
    visit_id,
    'set_aside' AS consequence,
    concat_ws(
        ', ',
        CASE
            WHEN zero_return_large THEN
                format('the port that read the return showed {:+.4f} at atmosphere', zero_return_inwc)
        END,
        CASE
            WHEN zero_supply_large THEN
                format('the port that read the supply showed {:+.4f} at atmosphere', zero_supply_inwc)
        END
    ) AS detail
FROM noticed_reading
WHERE zero_return_large OR zero_supply_large;
