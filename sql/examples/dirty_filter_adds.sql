-- How much static does a dirty filter add, against clean visits to the same unit in the same mode?
WITH unit AS (
    SELECT
        s.equipment_id,
        s.mode,
        count(*) FILTER (WHERE v.filter_condition = 'dirty') AS n_dirty,
        count(*) FILTER (WHERE s.like_new) AS n_clean,
        median(s.tesp_inwc) FILTER (WHERE v.filter_condition = 'dirty')
        - median(s.tesp_inwc) FILTER (WHERE s.like_new) AS added_inwc
    FROM visit_static AS s
    INNER JOIN visit AS v USING (visit_id)
    WHERE s.valid AND s.since_last_work
    GROUP BY s.equipment_id, s.mode
    HAVING n_dirty > 0 AND n_clean > 0
)

SELECT
    count(*) AS n_units,
    median(added_inwc) AS median_added_inwc,
    quantile_cont(added_inwc, 0.9) AS one_in_ten_adds_inwc
FROM unit;
