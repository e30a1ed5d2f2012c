-- Which uncertain units are nearest to being called chronic: where would one more visit tell most?
SELECT
    branch,
    site_id,
    equipment_id,
    mode,
    n_visits,
    level_inwc,
    level_lo_inwc,
    level_hi_inwc,
    rated_tesp_inwc,
    prob_over_rated
FROM site_static
WHERE static_state = 'uncertain' AND in_service
ORDER BY prob_over_rated DESC, equipment_id, mode
LIMIT 20;
