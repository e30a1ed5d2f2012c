-- Which sites first: the chronic and the uncertain ones in service (priority_row.sql), by expected excess; ties by id.
CREATE OR REPLACE TABLE site_priority AS
SELECT
    row_number() OVER (ORDER BY round(p.expected_excess_inwc, 9) DESC, p.equipment_id, p.mode) AS rank,
    p.problem_side,
    row_number() OVER (
        PARTITION BY p.problem_side ORDER BY round(p.expected_excess_inwc, 9) DESC, p.equipment_id, p.mode
    ) AS rank_in_side,
    p.* EXCLUDE (unit_no, problem_side, level_se_inwc, level_df),
    r.rank_lo,
    r.rank_hi
FROM priority_row AS p
INNER JOIN rank_interval AS r USING (unit_no)
ORDER BY rank;
