-- The same sum of the hashes, of which each is added once there: then they are the same units and modes, each once.
SELECT 1 AS what
WHERE
    (SELECT sum(DISTINCT hash(equipment_id, mode)) FROM visit_static)
    IS DISTINCT FROM (SELECT sum(hash(equipment_id, mode)) FROM site_static)
