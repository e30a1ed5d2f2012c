-- What do instruments show at zero, and does it drift from year to year?
SELECT
    instrument_id,
    year(visited_on) AS year_no,
    count(*) AS n_zeros,
    median(to_inwc(zero_return, pressure_unit)) AS zero_return_inwc,
    median(to_inwc(zero_supply, pressure_unit)) AS zero_supply_inwc
FROM visit
WHERE zero_return IS NOT NULL AND zero_supply IS NOT NULL AND instrument_id IS NOT NULL
GROUP BY instrument_id, year_no
ORDER BY instrument_id, year_no
LIMIT 200;
