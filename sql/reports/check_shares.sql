-- What share of all visits each check finds, by consequence; a check that found nothing has its row of zeroes.
-- A check finds a visit once, so the consequences of a check add up to its visits. Where a check is of the component drops,
-- only these are set aside (n_drop_set_aside), and the visit is used. taken_as: the commonest of the consequences;
-- chart_place: in the order of consequences, set aside first, the largest of each first.
WITH found AS (
    SELECT
        check_id,
        consequence,
        sum(n_found) AS n_visits
    FROM finding_count
    WHERE counted_by = 'day'
    GROUP BY check_id, consequence
),

visits AS (
    SELECT sum(n_visits) AS n_visits
    FROM visit_count
    WHERE counted_by = 'day'
),

shares AS (
    SELECT
        c.check_id,
        c.title,
        c.consequence,
        c.applies_to,
        c.why,
        coalesce(sum(f.n_visits), 0)::BIGINT AS n_visits,
        coalesce(sum(f.n_visits), 0) / nullif((SELECT visits.n_visits FROM visits), 0) AS share,
        coalesce(sum(f.n_visits) FILTER (WHERE f.consequence = 'set_aside' AND c.applies_to = 'visit'), 0)::BIGINT
            AS n_set_aside,
        coalesce(sum(f.n_visits) FILTER (WHERE f.consequence = 'set_aside' AND c.applies_to = 'drops'), 0)::BIGINT
            AS n_drop_set_aside,
        coalesce(sum(f.n_visits) FILTER (WHERE f.consequence = 'repaired'), 0)::BIGINT AS n_repaired,
        coalesce(sum(f.n_visits) FILTER (WHERE f.consequence = 'not_like_new'), 0)::BIGINT AS n_not_like_new,
        coalesce(sum(f.n_visits) FILTER (WHERE f.consequence = 'note'), 0)::BIGINT AS n_note
    FROM check_catalog AS c
    LEFT JOIN found AS f ON c.check_id = f.check_id
    GROUP BY c.check_id, c.title, c.consequence, c.applies_to, c.why
),

commonest AS (
    SELECT
        *,
        [n_set_aside, n_repaired, n_not_like_new, n_drop_set_aside, n_note] AS counts,
        CASE WHEN n_visits > 0 THEN list_position(counts, list_max(counts)) END AS taken_place
    FROM shares
)

SELECT
    * EXCLUDE (counts, taken_place),
    ['set_aside', 'repaired', 'not_like_new', 'drop_set_aside', 'note'][taken_place] AS taken_as,
    row_number() OVER (ORDER BY taken_place ASC NULLS LAST, n_visits DESC, check_id ASC) AS chart_place
FROM commonest
ORDER BY n_visits DESC, check_id ASC;
