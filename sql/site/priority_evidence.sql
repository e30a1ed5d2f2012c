-- What the list needs beside the verdict, for each equipment and mode that may stand in it (chronic or uncertain, in
-- service): the usual drops of filter and coil, and the fan's power at the rating.
CREATE OR REPLACE TEMP TABLE priority_evidence AS
WITH listed AS (
    SELECT s.equipment_id, s.mode
    FROM site_static AS s
    INNER JOIN equipment AS e USING (equipment_id)
    WHERE
        s.static_state IN ('chronic', 'uncertain')
        AND (e.retired_on IS NULL OR e.retired_on > getvariable('today'))
),

drops AS (
    SELECT
        v.equipment_id,
        v.mode,
        median(v.filter_drop_inwc) AS filter_drop_inwc,
        median(v.coil_drop_inwc) AS coil_drop_inwc
    FROM visit_static AS v
    INNER JOIN level_visit AS l USING (visit_id)
    SEMI JOIN listed AS p ON v.equipment_id = p.equipment_id AND v.mode = p.mode
    GROUP BY v.equipment_id, v.mode
),

at_rating AS (
    -- Fan power where the same tap meets the rating, from the blower table.
    SELECT
        s.equipment_id,
        s.mode,
        interpolate(
            b.rated_tesp_inwc / b.density_ratio, t.static_lo, t.power_lo, t.static_hi, t.power_hi
        ) AS power_w
    FROM site_static AS s
    INNER JOIN equipment_budget AS b USING (equipment_id)
    ASOF INNER JOIN blower_segment AS t
        ON
            b.blower_table_id = t.blower_table_id
            AND CASE s.mode WHEN 'cooling' THEN b.cooling_tap ELSE b.heating_tap END = t.tap
            AND b.rated_tesp_inwc / b.density_ratio >= t.static_lo
    WHERE b.rated_tesp_inwc / b.density_ratio <= t.static_hi
)

SELECT
    p.equipment_id,
    p.mode,
    d.filter_drop_inwc,
    d.coil_drop_inwc,
    a.power_w AS power_at_rating_w
FROM listed AS p
LEFT JOIN drops AS d ON p.equipment_id = d.equipment_id AND p.mode = d.mode
LEFT JOIN at_rating AS a ON p.equipment_id = a.equipment_id AND p.mode = a.mode;
