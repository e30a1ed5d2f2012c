-- One state for every site in service: its worst unit and mode decides. Words as in the data contract, section 4.
-- "upkeep": within rating like new, over it as found. "not_measured": no visit was ever loaded. Counts of sites.
WITH retired AS (
    SELECT equipment.equipment_id
    FROM equipment, publication
    WHERE equipment.retired_on <= publication.today
),

states AS (
    SELECT
        s.site_id,
        s.equipment_id,
        s.mode,
        s.problem_side,
        -- Places of the states, the worst first.
        CASE s.static_state
            WHEN 'chronic' THEN 1
            WHEN 'uncertain' THEN 2
            WHEN 'within_rating' THEN if(s.as_found_level_inwc > s.rated_tesp_inwc + 1e-9, 3, 4)
            ELSE 5
        END AS place
    FROM site_static AS s
    WHERE s.equipment_id NOT IN (SELECT retired.equipment_id FROM retired)
),

worst_state AS (
    SELECT
        site_id,
        min(place) AS place
    FROM states
    GROUP BY site_id
),

-- Of a chronic site the side of its unit and mode that ranks first.
chronic_side AS (
    SELECT
        s.site_id,
        s.problem_side
    FROM states AS s
    LEFT JOIN site_priority AS p ON s.equipment_id = p.equipment_id AND s.mode = p.mode
    WHERE s.place = 1
    QUALIFY row_number() OVER (PARTITION BY s.site_id ORDER BY p.rank NULLS LAST, s.equipment_id, s.mode) = 1
),

counted AS (
    SELECT
        w.place,
        coalesce(c.problem_side, 'none') AS problem_side,
        count(*) AS n_sites
    FROM worst_state AS w
    LEFT JOIN chronic_side AS c ON w.site_id = c.site_id
    GROUP BY ALL
    UNION ALL
    SELECT
        6 AS place,
        'none' AS problem_side,
        count(*) AS n_sites
    FROM site
    WHERE site_id NOT IN (SELECT worst_state.site_id FROM worst_state)
)

SELECT
    ['chronic', 'uncertain', 'upkeep', 'within_rating', 'too_few_visits', 'not_measured'][place] AS fleet_state,
    problem_side,
    n_sites,
    n_sites / sum(n_sites) OVER () AS share_of_sites
FROM counted
WHERE n_sites > 0
ORDER BY place, list_position(['return', 'supply', 'airflow_setting', 'none'], problem_side);
