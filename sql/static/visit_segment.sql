-- Which stretch between works each visit belongs to; visits on the day of a work belong to none.
CREATE OR REPLACE VIEW visit_segment AS
SELECT visit_id, segment, on_work_day, since_last_work, last_work_on
FROM visit_static;
