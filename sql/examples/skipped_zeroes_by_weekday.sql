-- On which weekday is zeroing skipped most?
SELECT
    dayname(v.visited_on) AS weekday,
    count(*) AS n_visits,
    count(f.visit_id) AS n_not_zeroed,
    n_not_zeroed / n_visits AS skip_rate,
    wilson_lo(n_not_zeroed, n_visits) AS skip_lo,
    wilson_hi(n_not_zeroed, n_visits) AS skip_hi
FROM visit_static AS v
LEFT JOIN finding AS f ON v.visit_id = f.visit_id AND f.check_id = 'zero_not_recorded'
GROUP BY weekday, isodow(v.visited_on)
ORDER BY isodow(v.visited_on);
