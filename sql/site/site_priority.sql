-- Which sites first: the chronic and the uncertain ones in service (priority_row.sql), by expected excess; ties by id.
CREATE OR REPLACE TABLE site_priority AS
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
    p.* EXCLUDE (unit_no, problem_side, level_se_inwc, level_df),
    r.rank_lo,
    r.rank_hi
FROM priority_row AS p
INNER JOIN placed AS s USING (unit_no)
INNER JOIN rank_interval AS r USING (unit_no);
