-- Which stretch between works each visit belongs to (work_stretch.sql); visits on the day of such work belong to none.
CREATE OR REPLACE VIEW visit_segment AS
SELECT visit_id, segment, on_work_day, since_last_work, last_work_on
FROM visit_static;
