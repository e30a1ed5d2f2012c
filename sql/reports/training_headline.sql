-- The training page's first answer: how often the fleet skips zeroing, how many technicians each state holds, and how many
-- stand out in other habits (habits.sql), of all and of those who do not stand out in zeroing. One row.
-- n_no_longer_above: of those who skip, whose visits since training reach down to the fleet's rate
-- (shared/since_last_training.sql).
-- n_offset_not_told: judged technicians (n_judged) of whose readings with no gauge an offset can be told; of these
-- n_few_hands have readings enough, but too few others share their sites.
-- n_doubtful_by_gauge: of those whose zero is doubtful, whose hidden offset goes with the gauge: nothing to coach there.
-- A technician below the minimum of visits is counted in n_technicians and n_too_few only, and named nowhere: n_visits and
-- n_not_zeroed are those of the judged, or what is left over would be that technician's.
WITH habitual AS (
    SELECT DISTINCT technician_id
    FROM practice_rate
    WHERE
        practice_state = 'above_fleet'
        AND check_id <> 'zero_not_recorded'
        AND n_visits >= (
            SELECT setting.value FROM setting
            WHERE setting.name = 'technician_min_visits'
        )
)

SELECT
    count(*) AS n_technicians,
    sum(n_visits) FILTER (WHERE zeroing_state <> 'too_few_visits') AS n_visits,
    sum(n_not_zeroed) FILTER (WHERE zeroing_state <> 'too_few_visits') AS n_not_zeroed,
    sum(n_not_zeroed) FILTER (WHERE zeroing_state <> 'too_few_visits')
    / nullif(sum(n_visits) FILTER (WHERE zeroing_state <> 'too_few_visits'), 0) AS share_not_zeroed,
    median(fleet_skip_rate) AS fleet_skip_rate,
    count(*) FILTER (WHERE zeroing_state = 'skips_zero') AS n_skips_zero,
    count(*) FILTER (WHERE zeroing_state = 'zero_doubtful') AS n_zero_doubtful,
    count(*) FILTER (
        WHERE zeroing_state = 'zero_doubtful' AND EXISTS (
            SELECT 1
            FROM offset_follows AS f
            WHERE
                f.technician_id = technician_zeroing.technician_id
                AND f.instrument_id IS NOT DISTINCT FROM technician_zeroing.hidden_instrument_id
                AND f.port = technician_zeroing.hidden_port
                AND f.follows = 'instrument'
        )
    ) AS n_doubtful_by_gauge,
    count(*) FILTER (WHERE zeroing_state = 'zeroes') AS n_zeroes,
    count(*) FILTER (WHERE zeroing_state = 'too_few_visits') AS n_too_few,
    count(*) FILTER (
        WHERE zeroing_state = 'skips_zero' AND technician_id IN (
            SELECT t.technician_id
            FROM memory.since_last_training AS t
            WHERE t.since_state = 'no_longer_above'
        )
    ) AS n_no_longer_above,
    count(*) FILTER (WHERE zeroing_state <> 'too_few_visits') AS n_judged,
    count(*) FILTER (WHERE zeroing_state <> 'too_few_visits' AND hidden_offset_inwc IS NULL) AS n_offset_not_told,
    count(*) FILTER (
        WHERE zeroing_state <> 'too_few_visits' AND hidden_offset_inwc IS NULL
        AND technician_id IN (
            SELECT i.technician_id
            FROM instrument_offset AS i
            WHERE
                i.return_offset_inwc IS NULL
                AND i.n_visits >= (
                    SELECT setting.value FROM setting
                    WHERE setting.name = 'technician_min_visits'
                )
        )
    ) AS n_few_hands,
    count(*) FILTER (WHERE zeroing_state = 'zeroes' AND hidden_offset_inwc IS NULL) AS n_zeroes_not_told,
    n_offset_not_told - n_few_hands AS n_few_readings,
    (SELECT count(*) FROM habitual) AS n_habitual,
    count(*) FILTER (
        WHERE zeroing_state = 'zeroes' AND technician_id IN (SELECT habitual.technician_id FROM habitual)
    ) AS n_zeroes_habitual,
    (
        SELECT setting.value FROM setting
        WHERE setting.name = 'technician_min_visits'
    ) AS min_visits
FROM technician_zeroing;
