-- Each technician's visits, and how often each check finds something at them. A check finds a visit at most once
-- (expectations/published.py).
CREATE OR REPLACE TABLE technician_visits AS
SELECT technician_id, sum(times)::BIGINT AS n_visits
FROM counted_visit
GROUP BY technician_id;

CREATE OR REPLACE TABLE technician_found AS
SELECT technician_id, check_id, sum(times)::BIGINT AS n_found
FROM counted_finding
GROUP BY technician_id, check_id;

-- Visits and skipped zeroes by month of the visits' local days.
CREATE OR REPLACE TEMP TABLE month_count AS
SELECT
    technician_id,
    date_trunc('month', visited_on)::DATE AS month_on,
    sum(n_visits)::BIGINT AS n_visits,
    sum(n_not_zeroed)::BIGINT AS n_not_zeroed
FROM (
    SELECT technician_id, visited_on, times AS n_visits, 0 AS n_not_zeroed
    FROM counted_visit
    WHERE has_been
    UNION ALL
    SELECT technician_id, visited_on, 0, times
    FROM counted_finding
    WHERE has_been AND check_id = 'zero_not_recorded'
)
GROUP BY technician_id, month_on;

-- Likewise before and after the last training. Visits on the day of training belong to neither, nor do those dated after
-- the reference day: when they were is not known.
CREATE OR REPLACE TEMP TABLE training_count AS
SELECT
    c.technician_id,
    t.trained_on,
    coalesce(sum(c.n_visits) FILTER (WHERE c.visited_on < t.trained_on), 0)::BIGINT AS n_before,
    coalesce(sum(c.n_not_zeroed) FILTER (WHERE c.visited_on < t.trained_on), 0)::BIGINT AS n_not_zeroed_before,
    coalesce(sum(c.n_visits) FILTER (WHERE c.visited_on > t.trained_on), 0)::BIGINT AS n_after,
    coalesce(sum(c.n_not_zeroed) FILTER (WHERE c.visited_on > t.trained_on), 0)::BIGINT AS n_not_zeroed_after
FROM (
    SELECT technician_id, visited_on, times AS n_visits, 0 AS n_not_zeroed
    FROM counted_visit
    WHERE has_been
    UNION ALL
    SELECT technician_id, visited_on, 0, times
    FROM counted_finding
    WHERE has_been AND check_id = 'zero_not_recorded'
) AS c
INNER JOIN technician AS t ON c.technician_id = t.technician_id
WHERE t.trained_on IS NOT NULL
GROUP BY c.technician_id, t.trained_on;
