-- Steps 2 and 3, near zero, then signs: no sign check fires on a pair near zero. A dropped sign is mended where the
-- reported total agrees with the sum of the magnitudes and is beyond the larger of them: nearer to their sum than to
-- their difference. Crossed ports are exchanged with their zeros unless the total contradicts. A total is compared in
-- magnitude.
CREATE OR REPLACE VIEW reading_sign AS
WITH converted AS (
    SELECT
        *,
        return_static * factor AS return_read,
        supply_static * factor AS supply_read,
        reported_tesp * reported_factor AS reported_inwc,
        least(half_last_digit * reported_factor, getvariable('reported_rounding_cap_inwc'))
        + getvariable('sum_tolerance_inwc') AS reported_tolerance
    FROM reading_unit
),

cases AS (
    SELECT
        *,
        CASE
            WHEN
                within(return_read, getvariable('near_zero_inwc'))
                AND within(supply_read, getvariable('near_zero_inwc')) THEN 'near_zero'
            WHEN return_read > 0 AND supply_read > 0 THEN 'both_positive'
            WHEN return_read < 0 AND supply_read < 0 THEN 'both_negative'
            WHEN return_read > 0 AND supply_read < 0 THEN 'crossed'
            ELSE 'right'
        END AS sign_case,
        within(abs(reported_inwc) - (abs(return_read) + abs(supply_read)), reported_tolerance) AS total_agrees,
        exceeds(abs(reported_inwc), greatest(abs(return_read), abs(supply_read))) AS total_is_larger
    FROM converted
),

judged AS (
    SELECT
        *,
        CASE
            WHEN sign_case IN ('both_positive', 'both_negative')
                THEN
                    coalesce(total_agrees AND total_is_larger, FALSE)
            WHEN sign_case = 'crossed' THEN coalesce(total_agrees, TRUE)
            ELSE FALSE
        END AS sign_repaired
    FROM cases
),

signed AS (
    SELECT
        *,
        sign_repaired AND sign_case = 'crossed' AS exchanged,
        CASE
            WHEN NOT sign_repaired THEN return_read
            WHEN sign_case = 'crossed' THEN supply_read
            WHEN sign_case = 'both_positive' THEN -return_read
            ELSE return_read
        END AS return_signed,
        CASE
            WHEN NOT sign_repaired THEN supply_read
            WHEN sign_case = 'crossed' THEN return_read
            WHEN sign_case = 'both_negative' THEN -supply_read
            ELSE supply_read
        END AS supply_signed
    FROM judged
)

SELECT
    *,
    supply_signed - return_signed AS tesp_signed,
    CASE WHEN exchanged THEN zero_supply ELSE zero_return END * zero_factor AS zero_return_inwc,
    CASE WHEN exchanged THEN zero_return ELSE zero_supply END * zero_factor AS zero_supply_inwc
FROM signed;
