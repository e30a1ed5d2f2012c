-- What each unit allows: budgets of both sides (magnitudes, in. w.c.) that sum to the rated TESP, its design
-- airflows and taps, and the air's density at its site. Half each where the design statics are not known
-- (common practice, no source).
CREATE OR REPLACE TABLE equipment_budget AS
SELECT
    e.equipment_id,
    e.equipment_kind,
    e.rated_tesp_inwc,
    coalesce(
        e.rated_tesp_inwc * abs(e.design_return_inwc)
        / nullif(abs(e.design_return_inwc) + abs(e.design_supply_inwc), 0),
        e.rated_tesp_inwc / 2
    ) AS return_budget_inwc,
    e.rated_tesp_inwc - return_budget_inwc AS supply_budget_inwc,
    e.design_cooling_cfm,
    e.design_heating_cfm,
    e.cooling_tap,
    e.heating_tap,
    e.blower_table_id,
    e.motor_kind,
    e.nominal_tons,
    density_ratio(coalesce(s.elevation_ft, 0)) AS density_ratio
FROM equipment AS e
INNER JOIN site AS s USING (site_id);
