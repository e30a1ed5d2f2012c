-- What did each return enlargement do: like-new TESP before and after, in the same mode? One by one these regress to
-- the mean; work_effect judges the kind of work without that.
SELECT
    w.equipment_id,
    w.done_on,
    v.mode,
    count(*) FILTER (WHERE v.visited_on < w.done_on) AS n_before,
    count(*) FILTER (WHERE v.visited_on > w.done_on) AS n_after,
    median(v.tesp_inwc) FILTER (WHERE v.visited_on < w.done_on) AS before_inwc,
    median(v.tesp_inwc) FILTER (WHERE v.visited_on > w.done_on) AS after_inwc,
    after_inwc - before_inwc AS shift_inwc
FROM work AS w
INNER JOIN visit_static AS v USING (equipment_id)
WHERE w.work_kind = 'return_enlarged' AND v.like_new
GROUP BY w.work_id, w.equipment_id, w.done_on, v.mode
HAVING n_before > 0 AND n_after > 0
ORDER BY shift_inwc, w.equipment_id, v.mode
LIMIT 50;
