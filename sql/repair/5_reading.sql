-- Steps 5 and 6, wrong port, then range: a reading from the wrong side of the filter or the coil is brought to the
-- right port with the measured drop. `reading` shows the visit as recorded beside what every step made of it, all in
-- in. w.c.; it is computed where it is asked for, which is cheaper than storing and joining a million rows.
-- Ask it for rows: for min() or max() right over it DuckDB 2.0 writes the columns out into one another, and plans for
-- a minute.
CREATE OR REPLACE VIEW reading AS
WITH ports AS (
    SELECT
        *,
        visited_on < installed_on AS before_install,
        visited_on > retired_on AS after_retirement,
        zero_factor <> factor AS zeros_kept_unit,
        exceeds(filter_drop_inwc, rated_tesp_inwc) AS filter_over_rating,
        exceeds(abs(reported_inwc - tesp_signed), getvariable('sum_tolerance_inwc'))
        AND exceeds(abs(reported_inwc - tesp_signed), getvariable('sum_tolerance_share') * abs(tesp_signed))
            AS sum_differs,
        return_port_used <> right_return_port AS return_port_wrong,
        supply_port_used <> right_supply_port AS supply_port_wrong,
        return_port_used <> right_return_port AND filter_drop_inwc IS NOT NULL AS return_port_repaired,
        supply_port_used <> right_supply_port AND coil_drop_inwc IS NOT NULL AS supply_port_repaired
    FROM reading_zero
),

moved AS (
    SELECT
        *,
        CASE
            WHEN NOT return_port_repaired THEN return_zeroed
            WHEN right_return_port = 'after_filter' THEN return_zeroed - filter_drop_inwc
            ELSE return_zeroed + filter_drop_inwc
        END AS return_inwc,
        CASE
            WHEN NOT supply_port_repaired THEN supply_zeroed
            WHEN right_supply_port = 'before_coil' THEN supply_zeroed + coil_drop_inwc
            ELSE supply_zeroed - coil_drop_inwc
        END AS supply_inwc
    FROM ports
)

SELECT
    *,
    supply_inwc - return_inwc AS tesp_inwc,
    exceeds(greatest(abs(return_inwc), abs(supply_inwc)), getvariable('plausible_limit_inwc')) AS out_of_range,
    within(least(abs(return_inwc), abs(supply_inwc)), getvariable('near_zero_inwc'))
    AND exceeds(greatest(abs(return_inwc), abs(supply_inwc)), getvariable('one_side_other_inwc'))
        AS one_side_near_zero
FROM moved;

-- The few readings at which the repairs noticed anything: all that the checks of a reading look at.
CREATE OR REPLACE TABLE noticed_reading AS
SELECT
    visit_id,
    visited_on,
    installed_on,
    retired_on,
    rated_tesp_inwc,
    return_static,
    supply_static,
    reported_tesp,
    pressure_unit,
    right_return_port,
    right_supply_port,
    before_install,
    after_retirement,
    unit_wrong,
    plausible_in_other,
    unit_repaired,
    zeros_kept_unit,
    return_read,
    supply_read,
    reported_inwc,
    sign_case,
    sign_repaired,
    tesp_signed,
    sum_differs,
    zero_return_inwc,
    zero_supply_inwc,
    zero_return_large,
    zero_supply_large,
    return_zeroed,
    supply_zeroed,
    filter_drop_read,
    coil_drop_read,
    filter_drop_impossible,
    coil_drop_impossible,
    filter_drop_inwc,
    coil_drop_inwc,
    filter_over_rating,
    return_port_wrong,
    supply_port_wrong,
    return_port_repaired,
    supply_port_repaired,
    return_inwc,
    supply_inwc,
    out_of_range,
    one_side_near_zero
FROM reading
WHERE
    before_install
    OR after_retirement
    OR unit_wrong
    OR sign_case <> 'right'
    OR sum_differs
    OR zero_return_large
    OR zero_supply_large
    OR filter_drop_impossible
    OR coil_drop_impossible
    OR filter_over_rating
    OR return_port_wrong
    OR supply_port_wrong
    OR out_of_range
    OR one_side_near_zero;
