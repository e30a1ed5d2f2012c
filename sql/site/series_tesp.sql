-- The series of the TESP trend: the visits that the level rests on.
CREATE OR REPLACE TEMP VIEW trend_series AS
SELECT equipment_id, mode, visited_on, at_year, tesp_inwc AS value
FROM level_visit;
