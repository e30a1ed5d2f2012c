-- What the publication before the last is compared with stays what it was: the last one rests on the same files as this
-- run, so its own comparison holds. Reads the attached file `former`.
CREATE OR REPLACE TEMP TABLE state_former AS
SELECT
    equipment_id,
    mode,
    site_id,
    was_state AS static_state,
    was_side AS problem_side,
    was_level_inwc AS level_inwc,
    since
FROM former.site_change
WHERE was_state IS NOT NULL;

CREATE OR REPLACE TEMP TABLE state_since AS
SELECT min(since) AS since FROM state_former;
