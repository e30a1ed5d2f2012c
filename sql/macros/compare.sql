-- Comparisons that forgive the last bits of a float: 0.53 - 0.51 is not "beyond 0.02".

-- True where a measured value is beyond a limit by more than 1e-9, the rounding left by sums of decimals.
-- unit: value and limit in one unit; boolean. source: this project's convention
CREATE OR REPLACE MACRO exceeds(value DOUBLE, lim DOUBLE) AS (
    value > lim + 1e-9
);

-- True where a measured difference, whatever its sign, is within a limit: the opposite of exceeds(abs(value), lim).
-- unit: value and limit in one unit; boolean. source: this project's convention
CREATE OR REPLACE MACRO within(value DOUBLE, lim DOUBLE) AS (
    abs(value) <= lim + 1e-9
);

-- True where a kind of work starts a new stretch of visits, not compared with those before: all but filter_changed and other.
-- unit: work_kind; boolean. source: data contract, "Since the last work"
CREATE OR REPLACE MACRO starts_stretch(work_kind VARCHAR) AS (
    work_kind NOT IN ('other', 'filter_changed')
);

-- True where a line of a file holds separators, quotes and blanks only, as spreadsheets leave below their tables.
-- unit: line is text. source: data contract, section 1
CREATE OR REPLACE MACRO holds_no_value(line VARCHAR) AS (regexp_full_match(line, '[\s,;"]*'));
