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
        CASE
            WHEN s.static_state = 'within_rating' AND s.as_found_level_inwc > s.rated_tesp_inwc + 1e-9 THEN 'upkeep'
            ELSE s.static_state
        END AS fleet_state
    FROM site_static AS s
    WHERE s.equipment_id NOT IN (SELECT retired.equipment_id FROM retired)
),

worst_state AS (
    SELECT
        site_id,
        min(list_position(['chronic', 'uncertain', 'upkeep', 'within_rating', 'too_few_visits'], fleet_state)) AS place
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
    WHERE s.fleet_state = 'chronic'
    QUALIFY row_number() OVER (PARTITION BY s.site_id ORDER BY p.rank NULLS LAST, s.equipment_id, s.mode) = 1
),

worst AS (
    SELECT
        w.site_id,
        ['chronic', 'uncertain', 'upkeep', 'within_rating', 'too_few_visits'][w.place] AS fleet_state,
        coalesce(c.problem_side, 'none') AS problem_side
    FROM worst_state AS w
    LEFT JOIN chronic_side AS c ON w.site_id = c.site_id
),

every_site AS (
    SELECT
        site.site_id,
        coalesce(worst.fleet_state, 'not_measured') AS fleet_state,
        coalesce(worst.problem_side, 'none') AS problem_side
    FROM site
    LEFT JOIN worst ON site.site_id = worst.site_id
)

SELECT
    fleet_state,
    problem_side,
    count(*) AS n_sites,
    count(*) / sum(count(*)) OVER () AS share_of_sites
FROM every_site
GROUP BY fleet_state, problem_side
ORDER BY
    list_position(
        ['chronic', 'uncertain', 'upkeep', 'within_rating', 'too_few_visits', 'not_measured'], fleet_state
    ),
    list_position(['return', 'supply', 'airflow_setting', 'none'], problem_side);
