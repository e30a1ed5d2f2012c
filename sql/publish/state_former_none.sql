-- The first publication: nothing to compare with.
CREATE OR REPLACE TEMP TABLE state_former (
    equipment_id VARCHAR,
    mode VARCHAR,
    site_id VARCHAR,
    static_state VARCHAR,
    problem_side VARCHAR,
    level_inwc DOUBLE,
    since DATE
);

CREATE OR REPLACE TEMP TABLE state_since AS
SELECT NULL::DATE AS since;
