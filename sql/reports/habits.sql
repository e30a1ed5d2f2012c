-- Habits that a word may mend: a technician's share of visits with a finding, where the lower end of its 95 % Wilson
-- interval lies above the share of all other technicians. Zeroing has its own list. Largest surplus first, top rows.
WITH visits AS (
    SELECT
        technician_id,
        count(*) AS n_visits
    FROM visit_static
    GROUP BY ALL
),

found AS (
    SELECT
        v.technician_id,
        f.check_id,
        count(DISTINCT f.visit_id) AS n_found
    FROM finding AS f
    INNER JOIN visit_static AS v ON f.visit_id = v.visit_id
    WHERE f.check_id <> 'zero_not_recorded'
    GROUP BY ALL
),

shares AS (
    SELECT
        found.technician_id,
        found.check_id,
        found.n_found,
        visits.n_visits,
        found.n_found / visits.n_visits AS share,
        (sum(found.n_found) OVER (PARTITION BY found.check_id) - found.n_found)
        / nullif((SELECT count(*) FROM visit_static) - visits.n_visits, 0) AS share_of_others
    FROM found
    INNER JOIN visits ON found.technician_id = visits.technician_id
),

bounds AS (
    SELECT
        *,
        (share + 1.9208 / n_visits - 1.96 * sqrt((share * (1 - share) + 0.9604 / n_visits) / n_visits))
        / (1 + 3.8416 / n_visits) AS share_lo,
        (share + 1.9208 / n_visits + 1.96 * sqrt((share * (1 - share) + 0.9604 / n_visits) / n_visits))
        / (1 + 3.8416 / n_visits) AS share_hi
    FROM shares
    WHERE n_visits >= (
        SELECT setting.value FROM setting
        WHERE setting.name = 'technician_min_visits'
    )
)

SELECT
    b.technician_id,
    b.check_id,
    coalesce(c.title, b.check_id) AS title,
    b.n_found,
    b.n_visits,
    b.share,
    b.share_lo,
    b.share_hi,
    b.share_of_others,
    count(*) OVER () AS n_habits
FROM bounds AS b
LEFT JOIN check_catalog AS c ON b.check_id = c.check_id
WHERE b.share_lo > b.share_of_others
ORDER BY (b.share - b.share_of_others) * b.n_visits DESC, b.technician_id, b.check_id ASC
LIMIT getvariable('top');
