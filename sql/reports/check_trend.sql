-- Each check over the last getvariable('months') months that have visits and are not after the reference day: its share
-- of each month's visits in order (shares), and the latest six of these months against those before, with Wilson's 95 %
-- interval. Only checks that found something in these months; those that found most lately first.
WITH months AS (
    SELECT
        month AS visit_month,
        n_visits,
        row_number() OVER (ORDER BY month DESC) AS months_ago
    FROM memory.member_visits
    WHERE grouping = 'month'
    ORDER BY month DESC
    LIMIT getvariable('months')
),

found AS (
    SELECT
        c.check_id,
        c.month AS visit_month,
        c.n_found
    FROM memory.member_found AS c
    INNER JOIN months ON c.month = months.visit_month
    WHERE c.grouping = 'month'
),

checks AS (
    SELECT DISTINCT check_id FROM found
),

every_month AS (
    SELECT
        checks.check_id,
        months.visit_month,
        months.months_ago <= 6 AS is_recent,
        months.n_visits,
        coalesce(found.n_found, 0) AS n_found
    FROM checks
    CROSS JOIN months
    LEFT JOIN found ON checks.check_id = found.check_id AND months.visit_month = found.visit_month
),

summed AS (
    SELECT
        check_id,
        list(n_found / n_visits ORDER BY visit_month) AS shares,
        max(n_found / n_visits) AS share_peak,
        strftime(arg_max(visit_month, (n_found / n_visits, visit_month)), '%Y-%m') AS peak_month,
        arg_max(n_visits, (n_found / n_visits, visit_month)) AS n_peak_month,
        strftime(min(visit_month), '%Y-%m') AS first_month,
        strftime(max(visit_month), '%Y-%m') AS last_month,
        coalesce(sum(n_found) FILTER (WHERE is_recent), 0)::BIGINT AS n_found_recent,
        coalesce(sum(n_visits) FILTER (WHERE is_recent), 0)::BIGINT AS n_recent,
        coalesce(sum(n_found) FILTER (WHERE NOT is_recent), 0)::BIGINT AS n_found_before,
        coalesce(sum(n_visits) FILTER (WHERE NOT is_recent), 0)::BIGINT AS n_before
    FROM every_month
    GROUP BY check_id
)

SELECT
    summed.check_id,
    coalesce(check_catalog.title, summed.check_id) AS title,
    summed.shares,
    summed.share_peak,
    summed.peak_month,
    summed.n_peak_month,
    summed.first_month,
    summed.last_month,
    summed.n_found_recent,
    summed.n_recent,
    summed.n_found_recent / nullif(summed.n_recent, 0) AS share_recent,
    wilson_lo(summed.n_found_recent, summed.n_recent) AS share_recent_lo,
    wilson_hi(summed.n_found_recent, summed.n_recent) AS share_recent_hi,
    summed.n_found_before,
    summed.n_before,
    summed.n_found_before / nullif(summed.n_before, 0) AS share_before,
    wilson_lo(summed.n_found_before, summed.n_before) AS share_before_lo,
    wilson_hi(summed.n_found_before, summed.n_before) AS share_before_hi
FROM summed
LEFT JOIN check_catalog ON summed.check_id = check_catalog.check_id
ORDER BY share_recent DESC, summed.n_found_before DESC, summed.check_id ASC;
