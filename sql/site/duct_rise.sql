-- Which segment of a blower table a duct curve K Q^n meets, by its K: along a segment that it crosses from below, K runs
-- from one point's static / airflow^n to the next one's. Of several crossings the one at least static holds: the table's
-- range of K is cut at all of its points, and each stretch goes to the first segment that spans it.
CREATE OR REPLACE TEMP TABLE duct_rise AS
WITH segment AS (
    SELECT
        e.curve,
        s.*,
        s.static_lo / pow(s.airflow_lo, getvariable('duct_exponent')) AS k_lo,
        s.static_hi / pow(s.airflow_hi, getvariable('duct_exponent')) AS k_hi
    FROM blower_segment AS s
    INNER JOIN blower_end AS e USING (blower_table_id, tap)
    WHERE s.static_hi > s.static_lo AND k_hi > k_lo
),

cut AS (
    SELECT curve, k_lo AS k FROM segment
    UNION
    SELECT curve, k_hi AS k FROM segment
),

stretch AS (
    SELECT
        curve,
        k AS k_from,
        lead(k) OVER along AS k_to,
        lead(k, 2) OVER along IS NULL AS is_last
    FROM cut
    WINDOW along AS (PARTITION BY curve ORDER BY k)
    QUALIFY k_to IS NOT NULL
)

SELECT
    t.curve,
    t.k_from,
    -- The last point itself is still inside; its K, computed on two ways, differs in the last bits.
    CASE WHEN t.is_last THEN t.k_to * (1 + 1e-12) ELSE t.k_to END AS k_below,
    s.static_lo,
    s.static_hi,
    s.airflow_lo,
    s.airflow_hi,
    s.power_lo,
    s.power_hi
FROM stretch AS t
INNER JOIN segment AS s ON t.curve = s.curve AND s.k_lo <= t.k_from AND s.k_hi >= t.k_to
QUALIFY row_number() OVER (PARTITION BY t.curve, t.k_from ORDER BY s.static_lo) = 1;
