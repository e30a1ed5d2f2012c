-- title: Pressure unit does not fit
-- consequence: repaired or set_aside
-- why: Readings that make sense only in another unit than the one on the row: the unit was mixed up in the export or on the gauge.
SELECT
    visit_id,
    CASE WHEN unit_repaired THEN 'repaired' ELSE 'set_aside' END AS consequence,
    format('return {} and supply {} do not fit the unit {}: ', return_static, supply_static, pressure_unit)
    || CASE
        WHEN unit_repaired
            THEN
                format(
                    'read as {}, {:+.3f} and {:+.3f} in. w.c.{}{}',
                    CASE pressure_unit WHEN 'pa' THEN 'in. w.c.' ELSE 'Pa' END,
                    return_read,
                    supply_read,
                    CASE WHEN zeros_kept_unit THEN '; the zeros stay in the row''s unit' ELSE '' END,
                    CASE WHEN reported_tesp IS NULL THEN '' ELSE format('; reported {} agrees', reported_tesp) END
                )
        WHEN NOT plausible_in_other THEN 'not mended to or from mm w.c.'
        ELSE format(
            'reported {} contradicts {}', reported_tesp,
            CASE pressure_unit WHEN 'pa' THEN 'in. w.c.' ELSE 'Pa' END
        )
    END AS detail
FROM noticed_reading
WHERE unit_wrong;
