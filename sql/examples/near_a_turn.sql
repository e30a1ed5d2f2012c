-- Do readings near a turn differ from those in a straight run at the same unit and mode?
WITH place AS (
    SELECT
        s.equipment_id,
        s.mode,
        v.return_location = 'near_turn' OR v.supply_location = 'near_turn' AS near_turn,
        median(s.tesp_inwc) AS tesp_inwc,
        count(*) AS n_visits
    FROM visit_static AS s
    INNER JOIN visit AS v USING (visit_id)
    WHERE s.like_new AND s.since_last_work AND near_turn IS NOT NULL
    GROUP BY s.equipment_id, s.mode, near_turn
)

SELECT
    count(*) AS n_units,
    sum(a.n_visits)::BIGINT AS n_near_turn,
    median(a.tesp_inwc - b.tesp_inwc) AS median_difference_inwc,
    quantile_cont(abs(a.tesp_inwc - b.tesp_inwc), 0.9) AS one_in_ten_beyond_inwc
FROM place AS a
INNER JOIN place AS b ON a.equipment_id = b.equipment_id AND a.mode = b.mode
WHERE a.near_turn AND NOT b.near_turn;
