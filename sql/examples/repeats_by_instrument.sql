-- Which instrument's visits repeat the readings of another site to the last digit?
SELECT
    v.instrument_id,
    count(*) AS n_visits,
    count(f.visit_id) AS n_repeated,
    n_repeated / n_visits AS share,
    wilson_lo(n_repeated, n_visits) AS share_lo,
    wilson_hi(n_repeated, n_visits) AS share_hi
FROM visit_static AS v
LEFT JOIN finding AS f ON v.visit_id = f.visit_id AND f.check_id = 'readings_repeated'
GROUP BY v.instrument_id
HAVING n_repeated > 0
ORDER BY share_lo DESC, v.instrument_id;
