-- The fates of visit_fates.sql by month of the visit: the last getvariable('months') months that have visits and are not
-- after the reference day.
WITH fates AS (
    SELECT
        strftime(v.visited_on, '%Y-%m') AS visit_month,
        CASE
            WHEN NOT v.valid THEN 'set_aside'
            WHEN NOT v.like_new THEN 'not_like_new'
            WHEN v.repairs <> '' THEN 'repaired'
            ELSE 'as_recorded'
        END AS fate
    FROM visit_static AS v
    WHERE v.visited_on <= (SELECT publication.today FROM publication)
),

months AS (
    SELECT
        visit_month,
        count(*) AS n_in_month
    FROM fates
    GROUP BY visit_month
    ORDER BY visit_month DESC
    LIMIT getvariable('months')
)

SELECT
    fates.visit_month,
    fates.fate,
    count(*) AS n_visits,
    months.n_in_month,
    count(*) / months.n_in_month AS share
FROM fates
INNER JOIN months ON fates.visit_month = months.visit_month
GROUP BY fates.visit_month, fates.fate, months.n_in_month
ORDER BY fates.visit_month, list_position(['as_recorded', 'repaired', 'not_like_new', 'set_aside'], fates.fate);
