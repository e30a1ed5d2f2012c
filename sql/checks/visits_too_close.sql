-- title: Two sites within minutes
-- consequence: note
-- scope: fleet
-- piece: epoch_us(visited_at) // (greatest(getvariable('visits_apart_min'), 1) * 60e6)::BIGINT
-- beside: 1
-- why: Drilling, probing and driving take longer than this: one of the two times is wrong, or one site was not measured.
WITH timed AS (
    SELECT
        technician_id,
        epoch_us(visited_at) AS visited_us,
        lag(epoch_us(visited_at)) OVER (PARTITION BY technician_id ORDER BY epoch_us(visited_at)) AS other_us,
        getvariable('visits_apart_min') * 60e6 AS limit_us
    FROM visit
),

near AS (
    SELECT DISTINCT
        technician_id,
        limit_us,
        unnest([visited_us, other_us]) AS near_us
    FROM timed
    WHERE visited_us - other_us <= limit_us
),

-- Only these few are ordered to the last: by time, then by id.
beside AS (
    SELECT
        v.visit_id,
        v.site_id,
        n.limit_us,
        n.near_us - lag(n.near_us) OVER by_time_and_id AS apart_us,
        lag(v.visit_id) OVER by_time_and_id AS other_visit_id,
        lag(v.site_id) OVER by_time_and_id AS other_site_id
    FROM visit AS v
    INNER JOIN near AS n ON v.technician_id = n.technician_id AND epoch_us(v.visited_at) = n.near_us
    WINDOW by_time_and_id AS (PARTITION BY v.technician_id ORDER BY n.near_us, v.visit_id)
)

SELECT
    visit_id,
    'note' AS consequence,
    format('{:.1f} min after visit {} at site {}', apart_us / 60e6, other_visit_id, other_site_id) AS detail
FROM beside
WHERE apart_us < limit_us AND site_id <> other_site_id;
