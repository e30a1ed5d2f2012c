-- rule: TESP is supply minus return
-- table: visit_static
SELECT visit_id AS what
FROM visit_static
WHERE
    abs(tesp_inwc - (supply_inwc - return_inwc)) > 1e-9
    OR (tesp_inwc IS NULL) <> (supply_inwc IS NULL OR return_inwc IS NULL)
