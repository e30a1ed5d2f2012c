-- One state for every site: its worst unit and mode in service decides. Words as in the data contract, section 4.
-- "upkeep": within rating like new, over it as found. "not_measured": there is equipment in service of which no visit was
-- ever loaded. "not_in_service": no equipment, or all of it retired; nobody is to go there. Counts of sites.
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

known AS (
    SELECT
        (SELECT count(*) FROM site) AS n_sites,
        count(DISTINCT site_id) AS n_in_service
    FROM equipment
    WHERE equipment_id NOT IN (SELECT r.equipment_id FROM memory.retired_unit AS r)
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
        n_in_service - (SELECT count(*) FROM worst_state) AS n_sites
    FROM known
    UNION ALL
    SELECT
        7 AS place,
        'none' AS problem_side,
        n_sites - n_in_service AS n_sites
    FROM known
)

SELECT
    ['chronic', 'uncertain', 'upkeep', 'within_rating', 'too_few_visits', 'not_measured', 'not_in_service'][place]
        AS fleet_state,
    problem_side,
    n_sites,
    n_sites / sum(n_sites) OVER () AS share_of_sites
FROM counted
WHERE n_sites > 0
ORDER BY place, list_position(['return', 'supply', 'airflow_setting', 'none'], problem_side);
