-- Each loaded visit with what the checks must know of its equipment and of the technician's day.
-- The right ports follow the rating (data contract, "The right ports").
CREATE OR REPLACE VIEW reading_row AS
SELECT
    v.*,
    e.installed_on,
    e.retired_on,
    inwc_per(v.pressure_unit) AS row_factor,
    CASE WHEN e.filter_in_rating THEN 'before_filter' ELSE 'after_filter' END AS right_return_port,
    CASE WHEN e.coil_in_rating THEN 'after_coil' ELSE 'before_coil' END AS right_supply_port,
    CASE
        WHEN v.visited_on <= getvariable('today') THEN
            max(v.visited_at) OVER (
                PARTITION BY v.technician_id, v.visited_on
                ORDER BY v.visited_at
                RANGE BETWEEN UNBOUNDED PRECEDING AND CURRENT ROW EXCLUDE GROUP
            )
    END AS previous_visit_at
FROM visit AS v
INNER JOIN equipment AS e USING (equipment_id);
