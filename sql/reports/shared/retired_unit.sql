-- Equipment that is retired by the reference day: it keeps its history and leaves the lists (data contract, section 4).
SELECT e.equipment_id
FROM equipment AS e
CROSS JOIN publication AS p
WHERE e.retired_on <= p.today
