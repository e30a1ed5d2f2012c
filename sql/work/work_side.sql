-- The visits around each work, a row for each mode of its equipment with comparable visits on both sides: TESP before
-- and after, between the neighbouring works. The last day of visits before the work (it triggered the work) is no
-- baseline. What another kind of work on the same day did, of those that start a new stretch, cannot be told from it: no row.
CREATE OR REPLACE TEMP TABLE work_side AS
WITH job AS (
    -- Works of one kind on one day are one job, whatever it was written down as.
    SELECT
        min(work_id) AS work_id,
        equipment_id,
        done_on,
        work_kind,
        sum(cost) AS cost
    FROM work
    WHERE done_on <= getvariable('today')
    GROUP BY equipment_id, done_on, work_kind
),

done AS MATERIALIZED (
    SELECT
        w.work_id,
        w.equipment_id,
        w.work_kind,
        w.cost,
        n.equipment_no,
        w.done_on,
        row_number() OVER (ORDER BY w.work_id) AS work_no,
        max(o.done_on) FILTER (WHERE o.done_on < w.done_on) AS previous_on,
        min(o.done_on) FILTER (WHERE o.done_on > w.done_on) AS next_on
    FROM job AS w
    INNER JOIN staging.equipment_facts AS n USING (equipment_id)
    LEFT JOIN work AS o
        ON
            w.equipment_id = o.equipment_id
            AND starts_stretch(o.work_kind)
            AND (o.done_on <> w.done_on OR o.work_kind <> w.work_kind)
    GROUP BY w.work_id, w.equipment_id, w.work_kind, w.cost, n.equipment_no, w.done_on
    HAVING count(*) FILTER (WHERE o.done_on = w.done_on) = 0
),

around AS MATERIALIZED (
    SELECT
        d.work_no,
        v.unit_no,
        v.tesp_inwc,
        v.visited_on,
        v.visited_on > d.done_on AS is_after
    FROM done AS d
    INNER JOIN comparable_visit AS v
        ON
            d.equipment_no = v.unit_no // 2
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

by_mode AS (
    SELECT
        a.work_no,
        a.unit_no,
        avg(a.tesp_inwc) FILTER (WHERE a.is_after) AS after_inwc,
        avg(a.tesp_inwc) FILTER (WHERE a.visited_on < l.trigger_on) AS before_inwc,
        count(*) FILTER (WHERE a.visited_on < l.trigger_on) AS n_before
    FROM around AS a
    INNER JOIN last_before AS l USING (work_no)
    GROUP BY a.work_no, a.unit_no
    HAVING n_before > 0 AND after_inwc IS NOT NULL
)

SELECT
    d.work_id,
    d.equipment_id,
    d.work_kind,
    d.cost,
    m.unit_no,
    m.n_before,
    m.before_inwc,
    m.after_inwc,
    NOT exceeds(m.before_inwc, e.rated_tesp_inwc) AS within_before,
    NOT exceeds(m.after_inwc, e.rated_tesp_inwc) AS within_after
FROM by_mode AS m
INNER JOIN done AS d USING (work_no)
INNER JOIN equipment AS e ON d.equipment_id = e.equipment_id;
