-- What each kind of work did: TESP after minus before at the same equipment and mode, comparable visits only, between
-- the neighbouring works. Free of regression to the mean: the last day of visits before the work (it triggered the
-- work) is no baseline, and the mean of the rest is drawn towards the fleet as far as its scatter says.
CREATE OR REPLACE TABLE work_effect AS
WITH done AS (
    SELECT
        w.work_id,
        w.equipment_id,
        w.work_kind,
        w.done_on,
        w.cost,
        max(o.done_on) FILTER (WHERE o.done_on < w.done_on) AS previous_on,
        min(o.done_on) FILTER (WHERE o.done_on > w.done_on) AS next_on
    FROM work AS w
    LEFT JOIN work AS o
        ON
            w.equipment_id = o.equipment_id
            AND o.work_kind NOT IN ('other', 'filter_changed')
            AND o.done_on <> w.done_on
    WHERE w.done_on <= getvariable('today')
    GROUP BY ALL
),

around AS (
    SELECT
        d.work_id,
        d.equipment_id,
        d.work_kind,
        d.cost,
        v.mode,
        v.tesp_inwc,
        v.visited_on,
        v.visited_on > d.done_on AS is_after,
        max(v.visited_on) FILTER (WHERE v.visited_on < d.done_on) OVER (PARTITION BY d.work_id) AS trigger_on
    FROM done AS d
    INNER JOIN comparable_visit AS v
        ON
            d.equipment_id = v.equipment_id
            AND v.visited_on <> d.done_on
            AND v.visited_on > coalesce(d.previous_on, DATE '0001-01-01')
            AND v.visited_on < coalesce(d.next_on, DATE '9999-12-31')
),

fleet AS (
    SELECT
        avg(level_inwc) AS mean_inwc,
        greatest(var_samp(level_inwc) - getvariable('scatter_prior_variance') / avg(n), 0) AS between_variance
    FROM level_scatter
    WHERE n >= getvariable('min_visits')
),

by_mode AS (
    SELECT
        a.work_id,
        a.equipment_id,
        a.work_kind,
        a.mode,
        avg(a.tesp_inwc) FILTER (WHERE a.is_after) AS after_inwc,
        avg(a.tesp_inwc) FILTER (WHERE NOT a.is_after AND a.visited_on < a.trigger_on) AS raw_before_inwc,
        count(*) FILTER (WHERE NOT a.is_after AND a.visited_on < a.trigger_on) AS n_before
    FROM around AS a
    GROUP BY a.work_id, a.equipment_id, a.work_kind, a.mode
    HAVING n_before > 0 AND after_inwc IS NOT NULL
),

pair AS (
    SELECT
        m.work_id,
        any_value(m.work_kind) AS work_kind,
        avg(
            m.after_inwc - coalesce(
                f.mean_inwc + (m.raw_before_inwc - f.mean_inwc) * f.between_variance
                / (f.between_variance + getvariable('scatter_prior_variance') / m.n_before),
                m.raw_before_inwc
            )
        ) AS shift_inwc,
        avg((m.raw_before_inwc <= e.rated_tesp_inwc)::INTEGER) AS within_before,
        avg((m.after_inwc <= e.rated_tesp_inwc)::INTEGER) AS within_after
    FROM by_mode AS m
    CROSS JOIN fleet AS f
    INNER JOIN equipment AS e USING (equipment_id)
    GROUP BY m.work_id
),

walsh AS (
    SELECT a.work_kind, list_sort(list((a.shift_inwc + b.shift_inwc) / 2)) AS averages
    FROM pair AS a
    INNER JOIN pair AS b ON a.work_kind = b.work_kind AND a.work_id <= b.work_id
    GROUP BY a.work_kind
),

kind AS (
    SELECT
        work_kind,
        count(*) AS n_pairs,
        avg(within_before) AS share_within_rating_before,
        avg(within_after) AS share_within_rating_after,
        greatest(
            round(
                n_pairs * (n_pairs + 1) / 4.0
                - 1.959963984540054 * sqrt(n_pairs * (n_pairs + 1) * (2 * n_pairs + 1) / 24.0)
            )::BIGINT, 1
        ) AS rank_lo
    FROM pair
    GROUP BY work_kind
)

SELECT
    a.work_kind,
    coalesce(k.n_pairs, 0) AS n_pairs,
    CASE WHEN k.n_pairs >= getvariable('work_min_pairs') THEN list_median(w.averages) END AS shift_inwc,
    CASE WHEN k.n_pairs >= getvariable('work_min_pairs') THEN w.averages[k.rank_lo] END AS shift_lo,
    CASE WHEN k.n_pairs >= getvariable('work_min_pairs') THEN w.averages[len(w.averages) + 1 - k.rank_lo] END AS shift_hi,
    k.share_within_rating_before,
    k.share_within_rating_after,
    a.n_works
FROM (SELECT work_kind, count(*) AS n_works FROM done GROUP BY work_kind) AS a
LEFT JOIN kind AS k USING (work_kind)
LEFT JOIN walsh AS w USING (work_kind)
ORDER BY a.work_kind;
