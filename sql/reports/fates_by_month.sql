-- The fates of visit_fates.sql by month of the visit: the last getvariable('months') months that have visits and are not
-- after the reference day, of all n_months such months.
WITH months AS (
    SELECT
        month,
        n_visits AS n_in_month,
        n_visits - n_set_aside - n_not_like_new - n_repaired AS n_as_recorded,
        n_repaired,
        n_not_like_new,
        n_set_aside,
        count(*) OVER () AS n_months
    FROM memory.member_visits
    WHERE grouping = 'month'
    ORDER BY month DESC
    LIMIT getvariable('months')
),

fates AS (
    SELECT
        strftime(month, '%Y-%m') AS visit_month,
        unnest(['as_recorded', 'repaired', 'not_like_new', 'set_aside']) AS fate,
        unnest([n_as_recorded, n_repaired, n_not_like_new, n_set_aside]) AS n_visits,
        n_in_month,
        n_months
    FROM months
)

SELECT
    visit_month,
    fate,
    n_visits,
    n_in_month,
    n_visits / n_in_month AS share,
    n_months
FROM fates
WHERE n_visits > 0
ORDER BY visit_month, list_position(['as_recorded', 'repaired', 'not_like_new', 'set_aside'], fate);
