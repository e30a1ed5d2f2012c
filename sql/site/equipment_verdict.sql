-- What the verdicts say of each piece of equipment over its modes, its worst state first of all. A unit that is within its
-- rating like new and over it as found needs upkeep.
CREATE OR REPLACE TABLE staging.equipment_verdict ( -- noqa: PRS
    equipment_no INTEGER,
    site_id VARCHAR USING COMPRESSION uncompressed,
    branch VARCHAR,
    equipment_id VARCHAR USING COMPRESSION uncompressed,
    equipment_kind VARCHAR,
    in_service BOOLEAN,
    worst_state VARCHAR,
    chronic_return BOOLEAN,
    chronic_supply BOOLEAN,
    chronic_airflow_setting BOOLEAN,
    n_visits BIGINT,
    first_on DATE,
    last_on DATE,
    n_valid BIGINT,
    last_valid_on DATE
);

INSERT INTO staging.equipment_verdict BY NAME
WITH seen AS (
    SELECT
        equipment_no,
        -- Places of the states, the worst first.
        min(
            CASE static_state
                WHEN 'chronic' THEN 1
                WHEN 'uncertain' THEN 2
                WHEN 'within_rating' THEN if(needs_upkeep, 3, 4)
                ELSE 5
            END
        ) AS place,
        bool_or(in_service) AS in_service,
        bool_or(static_state = 'chronic' AND problem_side = 'return') AS chronic_return,
        bool_or(static_state = 'chronic' AND problem_side = 'supply') AS chronic_supply,
        bool_or(static_state = 'chronic' AND problem_side = 'airflow_setting') AS chronic_airflow_setting,
        sum(n_visits)::BIGINT AS n_visits,
        min(first_on) AS first_on,
        max(last_on) AS last_on,
        sum(n_valid)::BIGINT AS n_valid,
        max(last_valid_on) AS last_valid_on
    FROM staging.unit_verdict
    GROUP BY equipment_no
)

SELECT
    s.* EXCLUDE (place),
    n.site_id,
    n.branch,
    n.equipment_id,
    n.equipment_kind,
    ['chronic', 'uncertain', 'upkeep', 'within_rating', 'too_few_visits'][s.place] AS worst_state
FROM seen AS s
INNER JOIN staging.equipment_facts AS n USING (equipment_no);

CREATE OR REPLACE VIEW equipment_static AS
SELECT * EXCLUDE (equipment_no)
FROM staging.equipment_verdict;
