-- What became of the visits: used as they are, used after a repair, used but not like new, or set aside. Counts.
WITH fates AS (
    SELECT
        CASE
            WHEN NOT valid THEN 'set_aside'
            WHEN NOT like_new THEN 'not_like_new'
            WHEN repairs <> '' THEN 'repaired'
            ELSE 'as_recorded'
        END AS fate
    FROM visit_static
)

SELECT
    fate,
    count(*) AS n_visits,
    count(*) / (SELECT count(*) FROM visit_static) AS share
FROM fates
GROUP BY fate
ORDER BY list_position(['as_recorded', 'repaired', 'not_like_new', 'set_aside'], fate);
