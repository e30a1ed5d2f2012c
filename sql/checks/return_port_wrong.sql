-- title: Return port in the wrong place
-- consequence: repaired or set_aside
-- why: The return port belongs where the maker's rating puts it: a reading from the other side of the filter leaves the filter out, or counts it twice.
SELECT
    visit_id,
    CASE WHEN return_port_repaired THEN 'repaired' ELSE 'set_aside' END AS consequence,
    CASE right_return_port
        WHEN 'after_filter' THEN 'read before the filter, the rating wants it after the filter: '
        ELSE 'read after the filter, the rating wants it before the filter: '
    END
    || CASE
        WHEN return_port_repaired
            THEN
                format(
                    '{:+.3f} brought to {:+.3f} with the measured filter drop {:.3f}',
                    return_zeroed, return_inwc, filter_drop_inwc
                )
        WHEN filter_drop_impossible THEN 'the filter drop on record is impossible'
        ELSE 'no filter drop was measured'
    END AS detail
FROM noticed_reading
WHERE return_port_wrong;
