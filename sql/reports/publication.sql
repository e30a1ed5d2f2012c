-- What is published: the reference day, when, and how much of everything. One row.
-- A visit's local day is its day in UTC, or one beside it: the first and the last visit are looked for near those days.
WITH days AS (
    SELECT
        sum(n_visits)::BIGINT AS n_visits,
        sum(n_visits - n_set_aside)::BIGINT AS n_valid,
        sum(n_visits - n_set_aside - n_not_like_new)::BIGINT AS n_like_new,
        min(visited_on) FILTER (WHERE n_visits > n_set_aside) AS first_on,
        max(visited_on) FILTER (WHERE visited_on < (SELECT today FROM publication)) AS last_on
    FROM visit_count
    WHERE counted_by = 'day'
),

first_visit AS (
    SELECT min(visited_at) AS first_visit_at
    FROM visit_reading
    WHERE
        valid
        AND visited_on IN (
            SELECT visit_count.visited_on FROM visit_count, days
            WHERE visit_count.visited_on <= days.first_on + INTERVAL 2 DAY
        )
),

last_visit AS (
    SELECT max(visited_at) AS last_visit_at
    FROM visit
    WHERE
        visited_at < (SELECT publication.today + INTERVAL 1 DAY FROM publication)
        AND visited_on IN (
            SELECT visit_count.visited_on FROM visit_count, days
            WHERE days.last_on IS NULL OR visit_count.visited_on >= days.last_on - INTERVAL 2 DAY
        )
)

SELECT
    today,
    version,
    published_at,
    offsets_before,
    (SELECT count(*) FROM site) AS n_sites,
    (SELECT count(*) FROM equipment) AS n_equipment,
    (SELECT count(*) FROM technician) AS n_technicians,
    coalesce(days.n_visits, 0) AS n_visits,
    coalesce(days.n_valid, 0) AS n_valid,
    coalesce(days.n_like_new, 0) AS n_like_new,
    first_visit.first_visit_at,
    last_visit.last_visit_at
FROM publication, days, first_visit, last_visit;
