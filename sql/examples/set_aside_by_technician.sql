-- Whose visits are set aside most often? A reason to coach, never proof of fault: look at n and the interval.
SELECT
    technician_id,
    count(*) AS n_visits,
    count(*) FILTER (WHERE NOT valid) AS n_set_aside,
    n_set_aside / n_visits AS share,
    wilson_lo(n_set_aside, n_visits) AS share_lo,
    wilson_hi(n_set_aside, n_visits) AS share_hi
FROM visit_static
GROUP BY technician_id
HAVING n_visits >= 20
ORDER BY share_lo DESC, technician_id
LIMIT 50;
