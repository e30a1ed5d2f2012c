-- As many visits with the same hashes, by their sum and by their bits: then they are the same visits, each once if each
-- is loaded once, which the gate has looked at.
SELECT 1 AS what
WHERE
    (SELECT (count(*), sum(hash(visit_id)), bit_xor(hash(visit_id))) FROM visit)
    IS DISTINCT FROM (SELECT (count(*), sum(hash(visit_id)), bit_xor(hash(visit_id))) FROM visit_static)
