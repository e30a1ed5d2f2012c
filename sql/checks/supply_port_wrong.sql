-- title: Supply port in the wrong place
-- consequence: repaired or set_aside
-- why: The supply port belongs where the maker's rating puts it: a reading from the other side of the coil leaves the coil out, or counts it twice.
SELECT
    visit_id,
    CASE WHEN supply_port_repaired THEN 'repaired' ELSE 'set_aside' END AS consequence,
    CASE right_supply_port
        WHEN 'before_coil' THEN 'read after the coil, the rating wants it before the coil: '
        ELSE 'read before the coil, the rating wants it after the coil: '
    END
    || CASE
        WHEN supply_port_repaired
            THEN
                format(
                    '{:+.3f} brought to {:+.3f} with the measured coil drop {:.3f}',
                    supply_zeroed, supply_inwc, coil_drop_inwc
                )
        WHEN coil_drop_impossible THEN 'the coil drop on record is impossible'
        ELSE 'no coil drop was measured'
    END AS detail
FROM noticed_reading
WHERE supply_port_wrong;
