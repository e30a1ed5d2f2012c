-- What is published: the reference day, when, and how much of everything. One row.
SELECT
    today,
    version,
    published_at,
    (SELECT count(*) FROM site) AS n_sites,
    (SELECT count(*) FROM equipment) AS n_equipment,
    (SELECT count(*) FROM technician) AS n_technicians,
    (SELECT count(*) FROM visit_static) AS n_visits,
    (
        SELECT count(*) FROM visit_static
        WHERE valid
    ) AS n_valid,
    (
        SELECT count(*) FROM visit_static
        WHERE valid AND like_new
    ) AS n_like_new,
    (
        SELECT min(visited_at) FROM visit_static
        WHERE valid
    ) AS first_visit_at,
    (
        SELECT max(visited_at) FROM visit_static
        WHERE visited_at < today + INTERVAL 1 DAY
    ) AS last_visit_at
FROM publication;
