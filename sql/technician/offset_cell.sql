-- A cell is a measurer in one year.
CREATE OR REPLACE TABLE offset_cell AS
SELECT
    (row_number() OVER (ORDER BY measurer, year_no) - 1)::INTEGER AS cell,
    measurer,
    year_no,
    count(*) AS n_visits,
    avg(date_diff('day', DATE '2000-01-01', visited_on)) / getvariable('days_per_year') AS years,
    min(visited_on) AS first_on,
    max(visited_on) AS last_on
FROM offset_reading
GROUP BY measurer, year_no;
