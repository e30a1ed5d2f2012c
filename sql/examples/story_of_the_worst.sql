-- What is the story of the unit that is first on the list: every visit, used or not, and why not?
SELECT
    v.visited_on,
    v.mode,
    v.technician_id,
    v.return_inwc,
    v.supply_inwc,
    v.tesp_inwc,
    v.u_tesp_inwc,
    v.rated_tesp_inwc,
    v.valid,
    v.like_new,
    v.set_aside_because,
    v.repairs
FROM visit_static AS v
INNER JOIN site_priority AS p USING (equipment_id)
WHERE p.rank = 1
ORDER BY v.visited_at, v.visit_id;
