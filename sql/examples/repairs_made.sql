-- What was mended on evidence, and how far did it move the total that the raw readings give?
SELECT
    split_part(split_part(repairs, '; ', 1), ' with the', 1) AS first_repair,
    count(*) AS n_visits,
    count(*) FILTER (WHERE valid) AS n_valid,
    median(abs(tesp_inwc - tesp(to_inwc(return_recorded, pressure_unit), to_inwc(supply_recorded, pressure_unit))))
        AS moved_inwc
FROM visit_static
WHERE repairs IS NOT NULL
GROUP BY first_repair
ORDER BY n_visits DESC, first_repair;
