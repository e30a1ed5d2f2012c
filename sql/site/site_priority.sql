-- Which sites first: the chronic and the uncertain ones in service (priority_row.sql), by expected excess; ties by id.
-- Ids and numbers with all their digits are written down as they are (static/visit_measured.sql says why).
CREATE OR REPLACE TABLE site_priority ( -- noqa: PRS
    rank BIGINT,
    problem_side VARCHAR,
    rank_in_side BIGINT,
    site_id VARCHAR USING COMPRESSION uncompressed,
    branch VARCHAR,
    equipment_id VARCHAR USING COMPRESSION uncompressed,
    mode VARCHAR,
    static_state VARCHAR,
    expected_excess_inwc DOUBLE USING COMPRESSION uncompressed,
    level_inwc DOUBLE USING COMPRESSION uncompressed,
    rated_tesp_inwc DOUBLE,
    airflow_shortfall_cfm DOUBLE USING COMPRESSION uncompressed,
    extra_power_w DOUBLE USING COMPRESSION uncompressed,
    check_first VARCHAR,
    n_visits BIGINT,
    n_offset_corrected BIGINT,
    last_on DATE,
    level_lo_inwc DOUBLE USING COMPRESSION uncompressed,
    level_hi_inwc DOUBLE USING COMPRESSION uncompressed,
    return_level_inwc DOUBLE USING COMPRESSION uncompressed,
    supply_level_inwc DOUBLE USING COMPRESSION uncompressed,
    prob_over_rated DOUBLE USING COMPRESSION uncompressed,
    prob_side DOUBLE USING COMPRESSION uncompressed,
    extra_cost_per_year DOUBLE USING COMPRESSION uncompressed,
    site_label VARCHAR USING COMPRESSION uncompressed,
    equipment_kind VARCHAR,
    other_mode VARCHAR,
    other_state VARCHAR,
    other_problem_side VARCHAR,
    other_level_inwc DOUBLE USING COMPRESSION uncompressed,
    other_level_lo_inwc DOUBLE USING COMPRESSION uncompressed,
    other_level_hi_inwc DOUBLE USING COMPRESSION uncompressed,
    other_prob_over_rated DOUBLE USING COMPRESSION uncompressed,
    other_n_visits BIGINT,
    rank_lo BIGINT,
    rank_hi BIGINT
);

INSERT INTO site_priority BY NAME
WITH placed AS (
    SELECT
        unit_no,
        row_number() OVER by_excess AS rank,
        row_number() OVER by_side AS rank_in_side
    FROM priority_row
    WINDOW
        by_excess AS (ORDER BY round(expected_excess_inwc, 9) DESC, equipment_id, mode),
        by_side AS (PARTITION BY problem_side ORDER BY round(expected_excess_inwc, 9) DESC, equipment_id, mode)
)

SELECT
    s.rank,
    p.problem_side,
    s.rank_in_side,
    p.* EXCLUDE (unit_no, problem_side, level_se_inwc, level_df, motor_says) REPLACE (
        p.check_first
        || CASE
            WHEN p.static_state <> 'uncertain' THEN ''
            WHEN t.trend = 'rising'
                THEN
                    ' Uncertain by the mean of its visits, but it rises: go by what the line says at the last visit, '
                    || 'and measure again before work is sold.'
            ELSE ' Not certain yet: measure once more before work is sold.'
        END
        || p.motor_says AS check_first
    ),
    -- The list goes by expected excess, the draws by level less rating alone: the rank may lie outside of theirs.
    least(r.rank_lo, s.rank) AS rank_lo,
    greatest(r.rank_hi, s.rank) AS rank_hi
FROM priority_row AS p
INNER JOIN placed AS s USING (unit_no)
INNER JOIN rank_interval AS r USING (unit_no)
LEFT JOIN equipment_trend AS t ON p.equipment_id = t.equipment_id;
