-- Step 4, zero: what each port showed at atmosphere is subtracted, up to the limit; a missing zero counts as 0.
-- The drops are judged here: a drop inside the measured span cannot exceed the static that contains it.
CREATE OR REPLACE VIEW reading_zero AS
WITH limits AS (
    SELECT
        *,
        coalesce(exceeds(abs(zero_return_inwc), getvariable('zero_offset_limit_inwc')), FALSE) AS zero_return_large,
        coalesce(exceeds(abs(zero_supply_inwc), getvariable('zero_offset_limit_inwc')), FALSE) AS zero_supply_large,
        filter_drop * factor AS filter_drop_read,
        coil_drop * factor AS coil_drop_read,
        coalesce(return_port, right_return_port) AS return_port_used,
        coalesce(supply_port, right_supply_port) AS supply_port_used
    FROM reading_sign
),

zeroed AS (
    SELECT
        *,
        return_signed - CASE WHEN zero_return_large THEN 0 ELSE coalesce(zero_return_inwc, 0) END AS return_zeroed,
        supply_signed - CASE WHEN zero_supply_large THEN 0 ELSE coalesce(zero_supply_inwc, 0) END AS supply_zeroed
    FROM limits
),

drops AS (
    SELECT
        *,
        coalesce(
            filter_drop_read < 0
            OR (return_port_used = 'after_filter' AND exceeds(filter_drop_read, abs(return_zeroed))), FALSE
        ) AS filter_drop_impossible,
        coalesce(
            coil_drop_read < 0
            OR (supply_port_used = 'before_coil' AND exceeds(coil_drop_read, abs(supply_zeroed))), FALSE
        ) AS coil_drop_impossible
    FROM zeroed
)

SELECT
    *,
    CASE WHEN NOT filter_drop_impossible THEN filter_drop_read END AS filter_drop_inwc,
    CASE WHEN NOT coil_drop_impossible THEN coil_drop_read END AS coil_drop_inwc
FROM drops;
