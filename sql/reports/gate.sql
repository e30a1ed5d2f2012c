-- The gate's expectations, those that failed first, then by stage and table.
SELECT
    stage,
    table_name,
    expectation,
    success,
    observed,
    allowed,
    detail[:200] AS detail,
    count(*) OVER () AS n_expectations,
    count(*) FILTER (WHERE NOT success) OVER () AS n_failed
FROM gate_result
ORDER BY success, stage, table_name, expectation
LIMIT 400;
