-- What is published: the reference day, when, and how much of everything. One row.
WITH visits AS (
    SELECT
        count(*) AS n_visits,
        count(*) FILTER (WHERE valid) AS n_valid,
        count(*) FILTER (WHERE valid AND like_new) AS n_like_new,
        min(visited_at) FILTER (WHERE valid) AS first_visit_at,
        max(visited_at) FILTER (WHERE visited_at < (SELECT today + INTERVAL 1 DAY FROM publication)) AS last_visit_at
    FROM visit_static
)

SELECT
    today,
    version,
    published_at,
    (SELECT count(*) FROM site) AS n_sites,
    (SELECT count(*) FROM equipment) AS n_equipment,
    (SELECT count(*) FROM technician) AS n_technicians,
    visits.n_visits,
    visits.n_valid,
    visits.n_like_new,
    visits.first_visit_at,
    visits.last_visit_at
FROM publication, visits;
