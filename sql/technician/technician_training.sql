-- Skipped zeroes before and after a technician's last training, with Newcombe's interval of the difference (1998,
-- method 10, from the two Wilson intervals; from memory). Better or worse is told by Fisher's exact test, two-sided (the
-- tables that are as likely as this one or less; Fisher 1922, from memory), with Benjamini-Hochberg over all technicians who
-- have visits enough on both sides: of many intervals one in twenty leaves nothing out by chance.
CREATE OR REPLACE TEMP TABLE training_tested AS
WITH counted AS (
    SELECT
        technician_id,
        n_before,
        n_after,
        n_not_zeroed_after,
        n_not_zeroed_before + n_not_zeroed_after AS n_skipped,
        greatest(0, n_skipped - n_before) AS least_after,
        lgamma(n_before + n_after + 1) - lgamma(n_skipped + 1) - lgamma(n_before + n_after - n_skipped + 1) AS ln_all
    FROM training_count
    WHERE n_before >= getvariable('technician_min_visits') AND n_after >= getvariable('technician_min_visits')
),

chances AS (
    -- How likely each split of the skipped visits over both sides is, if training changed nothing.
    SELECT
        technician_id,
        n_not_zeroed_after - least_after + 1 AS place,
        list_transform(
            range(least_after, least(n_skipped, n_after) + 1),
            LAMBDA k: exp(
                lgamma(n_after + 1) - lgamma(k + 1) - lgamma(n_after - k + 1)
                + lgamma(n_before + 1) - lgamma(n_skipped - k + 1) - lgamma(n_before - n_skipped + k + 1)
                - ln_all
            )
        ) AS chance
    FROM counted
)

SELECT
    technician_id,
    least(1, list_sum(list_filter(chance, LAMBDA p: p <= chance[place] * (1 + 1e-7)))) AS p_value
FROM chances;

CREATE OR REPLACE TABLE technician_training AS
WITH rated AS (
    SELECT
        *,
        n_not_zeroed_before / nullif(n_before, 0) AS rate_before,
        n_not_zeroed_after / nullif(n_after, 0) AS rate_after,
        wilson_lo(n_not_zeroed_before, n_before) AS lo_before,
        wilson_hi(n_not_zeroed_before, n_before) AS hi_before,
        wilson_lo(n_not_zeroed_after, n_after) AS lo_after,
        wilson_hi(n_not_zeroed_after, n_after) AS hi_after
    FROM training_count
)

SELECT
    r.technician_id,
    r.trained_on,
    r.n_before,
    r.n_not_zeroed_before,
    r.rate_before,
    r.n_after,
    r.n_not_zeroed_after,
    r.rate_after,
    r.rate_after - r.rate_before AS change,
    change - sqrt(pow(r.rate_after - r.lo_after, 2) + pow(r.hi_before - r.rate_before, 2)) AS change_lo,
    change + sqrt(pow(r.hi_after - r.rate_after, 2) + pow(r.rate_before - r.lo_before, 2)) AS change_hi,
    CASE
        WHEN a.q_bh IS NULL THEN 'too_few_visits'
        WHEN a.q_bh <= getvariable('technician_q') AND change < 0 THEN 'better'
        WHEN a.q_bh <= getvariable('technician_q') AND change > 0 THEN 'worse'
        ELSE 'no_clear_change'
    END AS since_training,
    a.q_bh AS q_value
FROM rated AS r
LEFT JOIN bh_adjusted('training_tested') AS a USING (technician_id)
ORDER BY r.technician_id;
