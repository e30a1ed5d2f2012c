-- rule: work is done on known equipment
-- table: work
SELECT w.work_id || ' on ' || w.equipment_id AS what
FROM work AS w
ANTI JOIN equipment AS e ON w.equipment_id = e.equipment_id
