-- rule: ranks run from 1 without a gap, by falling excess, in all and within a side
-- table: site_priority
WITH placed AS (
    SELECT
        *,
        row_number() OVER (ORDER BY rank) AS place,
        row_number() OVER (PARTITION BY problem_side ORDER BY rank) AS place_in_side,
        lag(expected_excess_inwc) OVER (ORDER BY rank) AS before_inwc
    FROM site_priority
)

SELECT equipment_id || ' ' || mode AS what
FROM placed
WHERE rank <> place OR rank_in_side <> place_in_side OR expected_excess_inwc > before_inwc + 1e-9
