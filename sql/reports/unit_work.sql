-- Work done on chosen units (units), newest 20 of each.
SELECT
    work_id,
    equipment_id,
    done_on,
    work_kind
FROM work
WHERE equipment_id IN (SELECT unnest(getvariable('units')))
QUALIFY row_number() OVER (PARTITION BY equipment_id ORDER BY done_on DESC, work_id ASC) <= 20
ORDER BY equipment_id, done_on, work_id;
