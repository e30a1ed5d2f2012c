-- What share of each branch's units in service is chronic, with its 95 % interval?
SELECT
    s.branch,
    count(*) AS n_judged,
    count(*) FILTER (WHERE s.static_state = 'chronic') AS n_chronic,
    n_chronic / n_judged AS share,
    wilson_lo(n_chronic, n_judged) AS share_lo,
    wilson_hi(n_chronic, n_judged) AS share_hi
FROM site_static AS s
INNER JOIN equipment AS e USING (equipment_id)
CROSS JOIN publication AS p
WHERE
    s.static_state <> 'too_few_visits'
    AND (e.retired_on IS NULL OR e.retired_on > p.today)
GROUP BY s.branch
ORDER BY share DESC, s.branch;
