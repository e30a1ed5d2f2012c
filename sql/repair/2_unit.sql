-- Step 1, unit: a pair of readings that is plausible only in another unit than the row's.
-- Plausible: both within the limit, at least one beyond near zero. Mended between inwc and pa only.
CREATE OR REPLACE VIEW reading_unit AS
WITH pairs AS (
    SELECT
        *,
        greatest(abs(return_static), abs(supply_static)) AS larger,
        inwc_per(
            CASE pressure_unit WHEN 'pa' THEN 'inwc' WHEN 'inwc' THEN 'pa' END
        ) AS other_factor,
        exceeds(larger * row_factor, getvariable('near_zero_inwc'))
        AND NOT exceeds(larger * row_factor, getvariable('plausible_limit_inwc')) AS plausible_in_row_unit,
        pressure_unit IN ('pa', 'inwc')
        AND exceeds(larger * other_factor, getvariable('near_zero_inwc'))
        AND NOT exceeds(larger * other_factor, getvariable('plausible_limit_inwc')) AS plausible_in_other,
        list_bool_or([
            exceeds(larger * inwc_per(unit), getvariable('near_zero_inwc'))
            AND NOT exceeds(larger * inwc_per(unit), getvariable('plausible_limit_inwc'))
            FOR unit IN ['inwc', 'pa', 'mmwc'] IF unit <> pressure_unit
        ]) AS plausible_elsewhere
    FROM reading_row
),

reported AS (
    SELECT
        *,
        NOT plausible_in_row_unit AND plausible_elsewhere AS unit_wrong,
        abs(return_static * other_factor) + abs(supply_static * other_factor) AS other_sum,
        abs(supply_static * other_factor - return_static * other_factor) AS other_difference,
        abs(reported_tesp) * other_factor AS reported_in_other,
        abs(reported_tesp) * row_factor AS reported_in_row,
        least(0.5 * pow(10, -reported_decimals) * other_factor, getvariable('reported_rounding_cap_inwc'))
        + getvariable('sum_tolerance_inwc') AS tolerance_in_other,
        least(0.5 * pow(10, -reported_decimals) * row_factor, getvariable('reported_rounding_cap_inwc'))
        + getvariable('sum_tolerance_inwc') AS tolerance_in_row,
        within(reported_in_other - other_sum, tolerance_in_other)
        OR within(reported_in_other - other_difference, tolerance_in_other) AS reported_agrees_in_other,
        within(reported_in_row - other_sum, tolerance_in_row)
        OR within(reported_in_row - other_difference, tolerance_in_row) AS reported_agrees_in_row
    FROM pairs
)

SELECT
    * EXCLUDE (larger, plausible_in_row_unit, plausible_elsewhere, other_sum, other_difference),
    unit_wrong
    AND plausible_in_other
    AND (reported_tesp IS NULL OR reported_agrees_in_other OR reported_agrees_in_row) AS unit_repaired,
    unit_wrong AND NOT unit_repaired AS unit_unknown,
    CASE WHEN unit_repaired THEN other_factor ELSE row_factor END AS factor,
    -- Zeros follow the readings, unless they are plausible only in the row's own unit.
    CASE
        WHEN unit_repaired
            AND NOT (
                within(coalesce(zero_return, 0) * row_factor, getvariable('zero_offset_limit_inwc'))
                AND within(coalesce(zero_supply, 0) * row_factor, getvariable('zero_offset_limit_inwc'))
                AND NOT (
                    within(coalesce(zero_return, 0) * other_factor, getvariable('zero_offset_limit_inwc'))
                    AND within(coalesce(zero_supply, 0) * other_factor, getvariable('zero_offset_limit_inwc'))
                )
            ) THEN other_factor
        ELSE row_factor
    END AS zero_factor,
    CASE WHEN unit_repaired AND reported_agrees_in_other THEN other_factor ELSE row_factor END AS reported_factor
FROM reported;
