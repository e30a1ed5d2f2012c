-- title: Rated static does not fit the kind
-- consequence: note
-- why: Every verdict is measured against the rating. One that no maker gives to this kind of equipment is a slip of the decimal point, or another figure from the plate.
-- of: unit
SELECT
    v.visit_id,
    'note' AS consequence,
    format(
        'rated {} in. w.c. for a {}; {} to {} is usual', e.rated_tesp_inwc, replace(e.equipment_kind, '_', ' '),
        CASE e.equipment_kind
            WHEN 'furnace' THEN getvariable('rating_furnace_min_inwc')
            ELSE getvariable('rating_fan_coil_min_inwc')
        END,
        getvariable('rating_max_inwc')
    ) AS detail
FROM visit AS v
INNER JOIN equipment AS e ON v.equipment_id = e.equipment_id
WHERE
    exceeds(e.rated_tesp_inwc, getvariable('rating_max_inwc'))
    OR exceeds(
        CASE e.equipment_kind
            WHEN 'furnace' THEN getvariable('rating_furnace_min_inwc')
            ELSE getvariable('rating_fan_coil_min_inwc')
        END, e.rated_tesp_inwc
    );
