-- rule: every visit and every finding is counted once
-- table: visit_count
SELECT what
FROM (
    VALUES
    (
        'visits',
        (SELECT count(*) FROM staging.visit_measured),
        (SELECT sum(n_visits) FROM visit_count WHERE counted_by = 'day')
    ),
    (
        'findings',
        (SELECT count(*) FROM finding),
        (SELECT sum(n_found) FROM finding_count WHERE counted_by = 'day')
    )
) AS counted (what, n, n_counted)
WHERE n <> coalesce(n_counted, 0)
