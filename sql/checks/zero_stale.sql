-- title: Zero too old
-- consequence: set_aside
-- scope: fleet
-- piece: visited_on
-- why: A manometer drifts with temperature and handling: zero at each site, and again after hours.
WITH day_so_far AS (
    SELECT
        visit_id,
        epoch_us(visited_at) AS visited_us,
        epoch_us(zeroed_at) AS zeroed_us,
        -- The technician's previous visit of the local day, strictly earlier: visits at one instant do not count,
        -- nor do visits in the future, which have a wrong date.
        max(CASE WHEN visited_on <= getvariable('today') THEN epoch_us(visited_at) END) OVER (
            PARTITION BY technician_id, visited_on
            ORDER BY epoch_us(visited_at)
            RANGE BETWEEN UNBOUNDED PRECEDING AND CURRENT ROW EXCLUDE GROUP
        ) AS previous_us
    FROM visit
)

SELECT
    visit_id,
    'set_aside' AS consequence,
    CASE
        WHEN zeroed_us < previous_us
            THEN
                format(
                    'zeroed {:.0f} min before the reading; the previous visit of the day was {:.0f} min before it',
                    (visited_us - zeroed_us) / 60e6, (visited_us - previous_us) / 60e6
                )
        ELSE format('zeroed {:.1f} h before the reading', (visited_us - zeroed_us) / 3600e6)
    END AS detail
FROM day_so_far
WHERE
    zeroed_us < previous_us
    OR visited_us - zeroed_us > getvariable('zero_max_age_h') * 3600e6;
