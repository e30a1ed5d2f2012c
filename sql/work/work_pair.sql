-- Each work with comparable visits on both sides: TESP after minus before at the same equipment and mode, modes
-- averaged, between the neighbouring works. Free of regression to the mean: the last day of visits before the work (it
-- triggered the work) is no baseline, and the mean of the rest is drawn towards the fleet as far as its scatter says.
CREATE OR REPLACE TABLE work_pair AS
WITH done AS MATERIALIZED (
    SELECT
        w.work_id,
        w.equipment_id,
        w.work_kind,
        w.done_on,
        w.cost,
        row_number() OVER (ORDER BY w.work_id) AS work_no,
        max(o.done_on) FILTER (WHERE o.done_on < w.done_on) AS previous_on,
        min(o.done_on) FILTER (WHERE o.done_on > w.done_on) AS next_on
    FROM work AS w
    LEFT JOIN work AS o
        ON
            w.equipment_id = o.equipment_id
            AND o.work_kind NOT IN ('other', 'filter_changed')
            AND o.done_on <> w.done_on
    WHERE w.done_on <= getvariable('today')
    GROUP BY w.work_id, w.equipment_id, w.work_kind, w.done_on, w.cost
),

around AS MATERIALIZED (
    SELECT
        d.work_no,
        v.unit_no,
        v.tesp_inwc,
        v.visited_on,
        v.visited_on > d.done_on AS is_after
    FROM done AS d
    INNER JOIN unit AS u USING (equipment_id)
    INNER JOIN comparable_visit AS v
        ON
            u.unit_no = v.unit_no
            AND v.visited_on <> d.done_on
            AND v.visited_on > coalesce(d.previous_on, DATE '0001-01-01')
            AND v.visited_on < coalesce(d.next_on, DATE '9999-12-31')
),

last_before AS (
    SELECT work_no, max(visited_on) AS trigger_on
    FROM around
    WHERE NOT is_after
    GROUP BY work_no
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
        a.work_no,
        avg(a.tesp_inwc) FILTER (WHERE a.is_after) AS after_inwc,
        avg(a.tesp_inwc) FILTER (WHERE a.visited_on < l.trigger_on) AS raw_before_inwc,
        count(*) FILTER (WHERE a.visited_on < l.trigger_on) AS n_before
    FROM around AS a
    INNER JOIN last_before AS l USING (work_no)
    GROUP BY a.work_no, a.unit_no
    HAVING n_before > 0 AND after_inwc IS NOT NULL
)

SELECT
    d.work_id,
    any_value(d.work_kind) AS work_kind,
    avg(
        m.after_inwc - coalesce(
            f.mean_inwc + (m.raw_before_inwc - f.mean_inwc) * f.between_variance
            / (f.between_variance + getvariable('scatter_prior_variance') / m.n_before),
            m.raw_before_inwc
        )
    ) AS shift_inwc,
    avg((NOT exceeds(m.raw_before_inwc, e.rated_tesp_inwc))::INTEGER) AS within_before,
    avg((NOT exceeds(m.after_inwc, e.rated_tesp_inwc))::INTEGER) AS within_after,
    any_value(d.cost) AS cost
FROM by_mode AS m
CROSS JOIN fleet AS f
INNER JOIN done AS d USING (work_no)
INNER JOIN equipment AS e USING (equipment_id)
GROUP BY d.work_id;
