-- The segments of each tap's table by the cells of blower_end that they touch: a million statics find their segment by
-- number, and compare it with one or two, where sorting them along the tables would cost ten times as much. A segment
-- holds its lower end and not its upper one, which begins the next; the last point is a segment of its own.
CREATE OR REPLACE TABLE blower_cell AS
SELECT
    e.curve,
    unnest(range(
        floor((s.static_lo - e.static_start) * e.cells_per_inwc)::BIGINT,
        floor((s.static_hi - e.static_start) * e.cells_per_inwc)::BIGINT + 1
    )) AS cell,
    s.static_lo,
    s.static_hi,
    CASE WHEN s.static_lo < s.static_hi THEN s.static_hi ELSE 'infinity'::DOUBLE END AS static_below,
    s.airflow_lo,
    s.airflow_hi,
    s.power_lo,
    s.power_hi
FROM blower_segment AS s
INNER JOIN blower_end AS e ON s.blower_table_id = e.blower_table_id AND s.tap = e.tap;
