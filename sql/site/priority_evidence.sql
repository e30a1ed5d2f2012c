-- What the list needs beside the verdict, for each equipment and mode that may stand in it (chronic or uncertain, in
-- service): the usual drops of filter and coil where they are part of the measured static, and the fan's power at the
-- rating. A part that the rating covers lies between the ports: its drop takes nothing of the external static.
CREATE OR REPLACE TEMP TABLE priority_evidence AS
WITH listed AS (
    SELECT
        s.unit_no,
        b.return_budget_inwc,
        b.right_return_port = 'after_filter' AS filter_in_span,
        b.right_supply_port = 'before_coil' AS coil_in_span,
        b.blower_table_id,
        CASE s.mode WHEN 'cooling' THEN b.cooling_tap ELSE b.heating_tap END AS tap,
        static_for_table(b.rated_tesp_inwc, b.density_ratio) AS rated_in_table
    FROM staging.unit_verdict AS s
    INNER JOIN staging.equipment_facts AS b USING (equipment_no)
    WHERE s.static_state IN ('chronic', 'uncertain') AND s.in_service
),

drops AS (
    SELECT unit_no, median(filter_drop_inwc) AS filter_drop_inwc, median(coil_drop_inwc) AS coil_drop_inwc
    FROM level_visit
    WHERE unit_no IN (SELECT unit_no FROM listed)
    GROUP BY unit_no
),

at_rating AS (
    -- Fan power where the same tap meets the rating, from the blower table.
    SELECT
        l.unit_no,
        interpolate(l.rated_in_table, t.static_lo, t.power_lo, t.static_hi, t.power_hi) AS power_w
    FROM listed AS l
    ASOF INNER JOIN blower_segment AS t
        ON l.blower_table_id = t.blower_table_id AND l.tap = t.tap AND l.rated_in_table >= t.static_lo
    WHERE l.rated_in_table <= t.static_hi
)

SELECT
    l.unit_no,
    l.return_budget_inwc,
    l.filter_in_span,
    l.coil_in_span,
    CASE WHEN l.filter_in_span THEN d.filter_drop_inwc END AS filter_drop_inwc,
    CASE WHEN l.coil_in_span THEN d.coil_drop_inwc END AS coil_drop_inwc,
    a.power_w AS power_at_rating_w
FROM listed AS l
LEFT JOIN drops AS d USING (unit_no)
LEFT JOIN at_rating AS a USING (unit_no);
