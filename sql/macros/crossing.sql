-- Straight lines in time: when a level is reached.
-- A millionth of a day is added below: a midnight that is reached exactly may be computed a hair short of it.

-- The day on which the line through (at_year, level) with a slope a year reaches a target; NULL a century or more away, or backwards.
-- unit: at_year in years of 365.25 days since 1970-01-01, level and target alike, slope in that unit a year; a date. source: a straight line
CREATE OR REPLACE MACRO crossing_day(at_year DOUBLE, level DOUBLE, slope DOUBLE, target DOUBLE) AS (
    CASE
        WHEN slope <> 0 AND (target - level) / slope BETWEEN 0 AND 100
            THEN
                cast(
                    TIMESTAMP '1970-01-01'
                    + to_days(cast(floor((at_year + (target - level) / slope) * 365.25 + 1e-6) AS INTEGER)) AS DATE
                )
    END
);
