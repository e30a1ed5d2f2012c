-- rule: a visit is valid or says why not, and only a valid one is like new
-- table: visit_static
SELECT visit_id AS what
FROM visit_static
WHERE valid <> (set_aside_because IS NULL) OR (like_new AND NOT valid)
