-- What each kind of work did: the shift of its pairs with its interval (pipeline/work/shift.py), how many were within
-- the rating before and after, and what 0.1 in. w.c. cost. Fewer pairs than the setting: no number.
CREATE OR REPLACE TABLE work_effect AS
WITH kind AS (
    SELECT
        work_kind,
        count(*) AS n_pairs,
        avg(within_before) AS share_within_rating_before,
        avg(within_after) AS share_within_rating_after,
        median(cost) AS median_cost
    FROM work_pair
    GROUP BY work_kind
),

done AS (
    SELECT work_kind, count(*) AS n_works, sum(cost) AS cost_sum
    FROM work
    WHERE done_on <= getvariable('today')
    GROUP BY work_kind
)

SELECT
    d.work_kind,
    coalesce(k.n_pairs, 0) AS n_pairs,
    s.shift_inwc,
    s.shift_lo,
    s.shift_hi,
    k.share_within_rating_before,
    k.share_within_rating_after,
    d.n_works,
    d.cost_sum,
    k.median_cost,
    -- Only where the whole interval lies below 0: a cost of nothing gained is no number.
    CASE WHEN s.shift_hi < 0 THEN k.median_cost / -s.shift_inwc * 0.1 END AS cost_per_tenth_inwc
FROM done AS d
LEFT JOIN kind AS k USING (work_kind)
LEFT JOIN work_shift AS s USING (work_kind)
ORDER BY d.work_kind;
