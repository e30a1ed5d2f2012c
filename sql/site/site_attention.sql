-- Units in service that cannot be judged or were not looked at lately, and how many like-new visits they need. An
-- uncertain unit needs as many more visits as bring its interval down to its distance from the rating, at the
-- probability that its side of the rating asks for. What a later day moves: pipeline/day/touched.py.
CREATE OR REPLACE TABLE site_attention ( -- noqa: PRS
    site_id VARCHAR USING COMPRESSION uncompressed,
    branch VARCHAR,
    equipment_id VARCHAR USING COMPRESSION uncompressed,
    mode VARCHAR,
    reason VARCHAR,
    n_visits BIGINT,
    last_valid_on DATE,
    visits_needed BIGINT
);

INSERT INTO site_attention BY NAME
WITH in_service AS (
    SELECT equipment_no, equipment_id, site_id, branch, rated_tesp_inwc
    FROM staging.equipment_facts
    WHERE
        (retired_on IS NULL OR retired_on > getvariable('today'))
        AND (installed_on IS NULL OR installed_on <= getvariable('today'))
),

verdict AS (
    SELECT
        v.equipment_no,
        v.mode,
        v.static_state,
        v.n_visits,
        v.level_inwc,
        v.level_se_inwc,
        s.last_valid_on,
        s.n_valid,
        -- Of two settings, not of each row.
        CASE
            WHEN v.level_inwc > v.rated_tesp_inwc THEN normal_quantile(getvariable('chronic_probability'))
            ELSE normal_quantile(1 - getvariable('within_probability'))
        END AS standard_errors
    FROM staging.unit_verdict AS v
    INNER JOIN staging.equipment_verdict AS s USING (equipment_no)
),

row_of AS (
    SELECT
        e.*,
        v.* EXCLUDE (equipment_no),
        CASE
            WHEN coalesce(v.n_valid, 0) = 0 THEN 'never_measured'
            WHEN v.static_state = 'too_few_visits' THEN 'too_few_visits'
            WHEN date_diff('day', v.last_valid_on, getvariable('today')) > getvariable('measured_lately_days')
                THEN 'not_measured_lately'
            WHEN v.static_state = 'uncertain' THEN 'uncertain'
        END AS reason
    FROM in_service AS e
    LEFT JOIN verdict AS v USING (equipment_no)
)

SELECT
    site_id,
    branch,
    equipment_id,
    mode,
    reason,
    coalesce(n_visits, 0) AS n_visits,
    last_valid_on,
    CASE reason
        WHEN 'never_measured' THEN getvariable('min_visits')::BIGINT
        WHEN 'too_few_visits' THEN getvariable('min_visits')::BIGINT - coalesce(n_visits, 0)
        WHEN 'not_measured_lately' THEN 1
        ELSE
            least(
                greatest(
                    -- A probability of 1 no visits bring.
                    coalesce(
                        ceil(
                            n_visits
                            * (
                                pow(
                                    standard_errors * level_se_inwc
                                    / greatest(abs(level_inwc - rated_tesp_inwc), 1e-6), 2
                                ) - 1
                            )
                        ), 99
                    ), 1
                ), 99
            )::BIGINT
    END AS visits_needed
FROM row_of
WHERE reason IS NOT NULL;
