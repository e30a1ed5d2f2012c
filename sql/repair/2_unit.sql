-- Step 1, unit: a pair of readings that is plausible only in another unit than the row's.
-- Plausible: both within the limit, at least one beyond near zero. Mended between inwc and Pa only.
-- Each step of the repairs computes from the columns of the one before and names nothing that it makes itself: a name
-- used within its own SELECT is written out again wherever it stands, and the work doubles with every step.
CREATE OR REPLACE VIEW reading_unit AS
WITH sizes AS (
    SELECT
        *,
        greatest(abs(return_static), abs(supply_static)) AS larger,
        greatest(abs(zero_return), abs(zero_supply)) AS larger_zero,
        CASE pressure_unit WHEN 'pa' THEN inwc_per('inwc') WHEN 'inwc' THEN inwc_per('pa') END AS other_factor,
        abs(return_static) + abs(supply_static) AS sum_written,
        abs(supply_static - return_static) AS difference_written,
        0.5 * pow(10, -reported_decimals) AS half_last_digit
    FROM reading_row
),

pairs AS (
    SELECT
        *,
        exceeds(larger * row_factor, getvariable('near_zero_inwc'))
        AND NOT exceeds(larger * row_factor, getvariable('plausible_limit_inwc')) AS plausible_in_row,
        exceeds(larger, getvariable('near_zero_inwc'))
        AND NOT exceeds(larger, getvariable('plausible_limit_inwc')) AS plausible_in_inwc,
        exceeds(larger * inwc_per('pa'), getvariable('near_zero_inwc'))
        AND NOT exceeds(larger * inwc_per('pa'), getvariable('plausible_limit_inwc')) AS plausible_in_pa,
        exceeds(larger * inwc_per('mmwc'), getvariable('near_zero_inwc'))
        AND NOT exceeds(larger * inwc_per('mmwc'), getvariable('plausible_limit_inwc')) AS plausible_in_mmwc,
        -- The total may be written in the other unit like the readings, or in the row's own where only the readings
        -- slipped. Where both readings have one sign, it may agree with their sum or their difference: signs are
        -- judged in the next step.
        least(half_last_digit * other_factor, getvariable('reported_rounding_cap_inwc'))
        + getvariable('sum_tolerance_inwc') AS tolerance_in_other,
        least(half_last_digit * row_factor, getvariable('reported_rounding_cap_inwc'))
        + getvariable('sum_tolerance_inwc') AS tolerance_in_row
    FROM sizes
),

totals AS (
    SELECT
        *,
        NOT plausible_in_row AND (plausible_in_inwc OR plausible_in_pa OR plausible_in_mmwc) AS unit_wrong,
        CASE pressure_unit WHEN 'pa' THEN plausible_in_inwc WHEN 'inwc' THEN plausible_in_pa ELSE FALSE END
            AS plausible_in_other,
        within((abs(reported_tesp) - sum_written) * other_factor, tolerance_in_other)
        OR within((abs(reported_tesp) - difference_written) * other_factor, tolerance_in_other)
            AS reported_agrees_in_other,
        within(abs(reported_tesp) * row_factor - sum_written * other_factor, tolerance_in_row)
        OR within(abs(reported_tesp) * row_factor - difference_written * other_factor, tolerance_in_row)
            AS reported_agrees_in_row
    FROM pairs
),

mended AS (
    SELECT
        *,
        unit_wrong
        AND plausible_in_other
        AND (reported_tesp IS NULL OR reported_agrees_in_other OR reported_agrees_in_row) AS unit_repaired
    FROM totals
)

SELECT
    * EXCLUDE (
        larger, larger_zero, plausible_in_row, plausible_in_inwc, plausible_in_pa, plausible_in_mmwc, sum_written,
        difference_written, tolerance_in_other, tolerance_in_row
    ),
    CASE WHEN unit_repaired THEN other_factor ELSE row_factor END AS factor,
    -- Zeros follow the readings, unless they are plausible only in the row's own unit.
    CASE
        WHEN
            unit_repaired
            AND NOT coalesce(
                within(larger_zero * row_factor, getvariable('zero_offset_limit_inwc'))
                AND exceeds(larger_zero * other_factor, getvariable('zero_offset_limit_inwc')), FALSE
            ) THEN other_factor
        ELSE row_factor
    END AS zero_factor,
    CASE WHEN unit_repaired AND reported_agrees_in_other THEN other_factor ELSE row_factor END AS reported_factor
FROM mended;
