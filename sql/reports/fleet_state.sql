-- One state for every site in service: its worst unit and mode decides. Words as in the data contract, section 4.
-- "upkeep": within rating like new, over it as found. "not_measured": no visit was ever loaded. Counts of sites.
WITH worst_state AS MATERIALIZED (
    SELECT
        site_id,
        -- Places of the states, the worst first.
        min(list_position(['chronic', 'uncertain', 'upkeep', 'within_rating', 'too_few_visits'], worst_state)) AS place
    FROM equipment_static
    WHERE in_service
    GROUP BY site_id
),

-- Of a chronic site the side of its unit and mode that ranks first.
chronic_side AS (
    SELECT arg_min(problem_side, rank) AS problem_side
    FROM site_priority
    WHERE static_state = 'chronic'
    GROUP BY site_id
),

counted AS (
    SELECT
        1 AS place,
        coalesce(problem_side, 'none') AS problem_side,
        count(*) AS n_sites
    FROM chronic_side
    GROUP BY ALL
    UNION ALL
    SELECT
        place,
        'none' AS problem_side,
        count(*) AS n_sites
    FROM worst_state
    WHERE place > 1
    GROUP BY place
    UNION ALL
    SELECT
        6 AS place,
        'none' AS problem_side,
        (SELECT count(*) FROM site) - (SELECT count(*) FROM worst_state) AS n_sites
)

SELECT
    ['chronic', 'uncertain', 'upkeep', 'within_rating', 'too_few_visits', 'not_measured'][place] AS fleet_state,
    problem_side,
    n_sites,
    n_sites / sum(n_sites) OVER () AS share_of_sites
FROM counted
WHERE n_sites > 0
ORDER BY place, list_position(['return', 'supply', 'airflow_setting', 'none'], problem_side);
