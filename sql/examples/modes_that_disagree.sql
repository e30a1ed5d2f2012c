-- Which units are chronic in one mode and within the rating in the other? The fan setting may be why.
SELECT
    c.branch,
    c.site_id,
    c.equipment_id,
    c.static_state AS cooling_state,
    h.static_state AS heating_state,
    c.level_inwc AS cooling_level_inwc,
    h.level_inwc AS heating_level_inwc,
    c.rated_tesp_inwc
FROM site_static AS c
INNER JOIN site_static AS h ON c.equipment_id = h.equipment_id AND h.mode = 'heating'
WHERE
    c.mode = 'cooling'
    AND (
        (c.static_state = 'chronic' AND h.static_state = 'within_rating')
        OR (c.static_state = 'within_rating' AND h.static_state = 'chronic')
    )
ORDER BY abs(c.level_inwc - h.level_inwc) DESC, c.equipment_id
LIMIT 50;
