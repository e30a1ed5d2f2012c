-- title: Impossible drop across filter or coil
-- consequence: set_aside
-- applies_to: drops
-- why: A drop cannot be negative, nor larger than the static that contains it. The drop is set aside, not the visit.
SELECT
    visit_id,
    'set_aside' AS consequence,
    concat_ws(
        '; ',
        CASE
            WHEN filter_drop_impossible THEN
                format('filter drop {:+.3f} against a return static of {:+.3f}', filter_drop_read, return_zeroed)
        END,
        CASE
            WHEN coil_drop_impossible THEN
                format('coil drop {:+.3f} against a supply static of {:+.3f}', coil_drop_read, supply_zeroed)
        END
    ) AS detail
FROM noticed_reading
WHERE filter_drop_impossible OR coil_drop_impossible;
