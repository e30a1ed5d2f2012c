-- Operating points: where the fan's table (tap, at the site's density) meets the duct curve K Q^n. Along a segment of
-- the table static and airflow run on a straight line in t; static - K Q^n changes sign in the segment that holds the
-- point (duct_rise.sql finds it); Newton's steps from the chord find the point. Never beyond the table.
CREATE OR REPLACE TEMP TABLE duct_answer AS
WITH held AS (
    SELECT
        q.unit_no,
        q.change,
        q.curve,
        q.n,
        q.k,
        s.static_lo * q.density_ratio AS p0,
        (s.static_hi - s.static_lo) * q.density_ratio AS dp,
        s.airflow_lo AS q0,
        s.airflow_hi - s.airflow_lo AS dq,
        s.power_lo,
        s.power_hi,
        p0 - q.k * pow(q0, q.n) AS h0,
        p0 + dp - q.k * pow(q0 + dq, q.n) AS h1
    FROM duct_question AS q
    INNER JOIN duct_rise AS s
        ON q.curve = s.curve AND q.k / q.density_ratio >= s.k_from AND q.k / q.density_ratio < s.k_below
),

-- h(t) = p0 + t dp - k (q0 + t dq)^n, its slope dp - k n dq (q0 + t dq)^(n - 1); t stays within the segment.
step_0 AS (
    SELECT *, greatest(least(-h0 / (h1 - h0), 1), 0) AS t0
    FROM held
),

step_1 AS (
    SELECT
        *,
        greatest(least(t0 - (p0 + t0 * dp - k * pow(q0 + t0 * dq, n)) / (dp - k * n * dq * pow(q0 + t0 * dq, n - 1)), 1), 0)
            AS t1
    FROM step_0
),

step_2 AS (
    SELECT
        *,
        greatest(least(t1 - (p0 + t1 * dp - k * pow(q0 + t1 * dq, n)) / (dp - k * n * dq * pow(q0 + t1 * dq, n - 1)), 1), 0)
            AS t2
    FROM step_1
),

step_3 AS (
    SELECT
        *,
        greatest(least(t2 - (p0 + t2 * dp - k * pow(q0 + t2 * dq, n)) / (dp - k * n * dq * pow(q0 + t2 * dq, n - 1)), 1), 0)
            AS t
    FROM step_2
)

SELECT
    unit_no,
    change,
    curve,
    p0 + t * dp AS tesp_inwc,
    q0 + t * dq AS airflow_cfm,
    power_lo + t * (power_hi - power_lo) AS power_w
FROM step_3;
