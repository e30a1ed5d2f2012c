-- As many rows with the same hashes, by their sum and by their bits: then they are the same units and modes, each once if
-- each is once in site_static, which is asked, too.
SELECT 1 AS what
WHERE
    (SELECT (count(*), sum(hash(equipment_id, mode)), bit_xor(hash(equipment_id, mode))) FROM site_static)
    IS DISTINCT FROM (SELECT (count(*), sum(hash(equipment_id, mode)), bit_xor(hash(equipment_id, mode))) FROM site_trend)
