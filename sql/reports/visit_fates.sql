-- What became of the visits: used as they are, used after a repair, used but not like new, or set aside. Counts.
WITH counted AS (
    SELECT
        sum(n_visits)::BIGINT AS n_all,
        sum(n_set_aside)::BIGINT AS n_set_aside,
        sum(n_not_like_new)::BIGINT AS n_not_like_new,
        sum(n_repaired)::BIGINT AS n_repaired
    FROM visit_count
    WHERE counted_by = 'day'
),

fates AS (
    SELECT
        unnest(['as_recorded', 'repaired', 'not_like_new', 'set_aside']) AS fate,
        unnest([n_all - n_set_aside - n_not_like_new - n_repaired, n_repaired, n_not_like_new, n_set_aside]) AS n_visits,
        n_all
    FROM counted
)

SELECT
    fate,
    n_visits,
    n_visits / n_all AS share
FROM fates
WHERE n_visits > 0
ORDER BY list_position(['as_recorded', 'repaired', 'not_like_new', 'set_aside'], fate);
