-- How many like-new visits each unit in one mode still wants before it is judged.
SELECT
    equipment_id,
    mode,
    visits_needed
FROM site_attention
WHERE reason IN ('too_few_visits', 'uncertain')
