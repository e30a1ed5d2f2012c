-- Technicians to coach, with the reason's figures: skipped zeroes first, then readings that shift. At most top rows.
-- Only technicians with the minimum of visits are named. The offsets of both ports and of the total are those with the
-- instrument of the hidden offset (technician_zeroing.sql), each with its 95 % interval (1.96 standard errors), of the
-- total its size. q_value: of the reason's own test, of skipping or of the offsets with that instrument.
-- n_since ... since_state: shared/since_last_training.sql.
-- line_...: the rate month by month over the latest months months, each point over the fewest months up to it that hold the
-- minimum of visits together, so that no point rests on less; at least three points; the last with its 95 % interval (Wilson).
-- line_at: where it stands, 0 to 1.
WITH limits AS (
    SELECT setting.value AS min_visits
    FROM setting
    WHERE setting.name = 'technician_min_visits'
),

to_coach AS (
    SELECT technician_zeroing.*
    FROM technician_zeroing
    WHERE
        technician_zeroing.zeroing_state IN ('skips_zero', 'zero_doubtful')
        AND technician_zeroing.n_visits >= (SELECT limits.min_visits FROM limits)
),

to_date AS (
    SELECT
        m.technician_id,
        m.month_on,
        sum(m.n_visits) OVER up_to AS visits_to_date,
        sum(m.n_not_zeroed) OVER up_to AS skipped_to_date,
        visits_to_date - (SELECT limits.min_visits FROM limits) AS enough_from
    FROM technician_month AS m
    INNER JOIN to_coach ON m.technician_id = to_coach.technician_id
    WINDOW up_to AS (PARTITION BY m.technician_id ORDER BY m.month_on)
),

begins AS (
    SELECT
        technician_id,
        visits_to_date,
        skipped_to_date
    FROM to_date
    UNION ALL
    SELECT
        technician_id,
        0 AS visits_to_date,
        0 AS skipped_to_date
    FROM to_coach
),

points AS (
    SELECT
        d.technician_id,
        d.month_on,
        (d.visits_to_date - b.visits_to_date)::BIGINT AS n_visits,
        (d.skipped_to_date - b.skipped_to_date)::BIGINT AS n_not_zeroed,
        (d.skipped_to_date - b.skipped_to_date) / (d.visits_to_date - b.visits_to_date) AS rate
    FROM to_date AS d
    ASOF INNER JOIN begins AS b ON d.technician_id = b.technician_id AND d.enough_from >= b.visits_to_date
    WHERE d.month_on > (SELECT publication.today FROM publication) - to_months(getvariable('months'))
),

lines AS (
    SELECT
        technician_id,
        list(rate ORDER BY month_on) AS line_rates,
        list(month_on ORDER BY month_on) AS line_months,
        list_transform(
            line_months,
            LAMBDA m: date_diff('month', line_months[1], m) / date_diff('month', line_months[1], line_months[-1])
        ) AS line_at,
        strftime(min(month_on), '%Y-%m') AS line_first,
        strftime(max(month_on), '%Y-%m') AS line_last,
        max(rate) AS line_peak_rate,
        arg_max(rate, month_on) AS line_last_rate,
        wilson_lo(arg_max(n_not_zeroed, month_on), arg_max(n_visits, month_on)) AS line_last_rate_lo,
        wilson_hi(arg_max(n_not_zeroed, month_on), arg_max(n_visits, month_on)) AS line_last_rate_hi,
        arg_max(n_visits, month_on) AS n_line_last,
        min(n_visits) AS n_line_least
    FROM points
    GROUP BY technician_id
    HAVING count(*) >= 3
)

SELECT
    z.technician_id,
    z.branch,
    t.trained_on,
    s.n_since,
    s.n_not_zeroed_since,
    s.since_rate,
    s.since_rate_lo,
    s.since_rate_hi,
    s.since_state,
    l.line_rates,
    l.line_at,
    l.line_first,
    l.line_last,
    l.line_peak_rate,
    l.line_last_rate,
    l.line_last_rate_lo,
    l.line_last_rate_hi,
    l.n_line_last,
    l.n_line_least,
    CASE
        WHEN t.trained_on BETWEEN l.line_months[1] AND l.line_months[-1]
            THEN date_diff('day', l.line_months[1], t.trained_on) / date_diff('day', l.line_months[1], l.line_months[-1])
    END AS line_trained_at,
    z.zeroing_state,
    z.n_visits,
    z.n_not_zeroed,
    z.skip_rate,
    z.skip_lo,
    z.skip_hi,
    z.shrunk_skip_rate,
    z.fleet_skip_rate,
    CASE WHEN z.zeroing_state = 'skips_zero' THEN z.q_value ELSE i.q_value END AS q_value,
    z.hidden_offset_inwc,
    z.hidden_port,
    i.instrument_id,
    i.n_visits AS n_offset_visits,
    i.return_offset_inwc,
    i.return_offset_inwc - 1.96 * i.return_offset_se AS return_lo_inwc,
    i.return_offset_inwc + 1.96 * i.return_offset_se AS return_hi_inwc,
    i.supply_offset_inwc,
    i.supply_offset_inwc - 1.96 * i.supply_offset_se AS supply_lo_inwc,
    i.supply_offset_inwc + 1.96 * i.supply_offset_se AS supply_hi_inwc,
    if(z.hidden_port = 'return', return_lo_inwc, supply_lo_inwc) AS hidden_lo_inwc,
    if(z.hidden_port = 'return', return_hi_inwc, supply_hi_inwc) AS hidden_hi_inwc,
    i.tesp_offset_inwc,
    abs(i.tesp_offset_inwc) AS total_off_inwc,
    abs(i.tesp_offset_inwc) - 1.96 * i.tesp_offset_se AS total_off_lo_inwc,
    abs(i.tesp_offset_inwc) + 1.96 * i.tesp_offset_se AS total_off_hi_inwc,
    f.follows,
    count(*) OVER () AS n_to_coach
FROM to_coach AS z
LEFT JOIN technician AS t ON z.technician_id = t.technician_id
LEFT JOIN memory.since_last_training AS s ON z.technician_id = s.technician_id
LEFT JOIN lines AS l ON z.technician_id = l.technician_id
LEFT JOIN instrument_offset AS i
    ON
        z.technician_id = i.technician_id
        AND z.hidden_port IS NOT NULL
        AND z.hidden_instrument_id IS NOT DISTINCT FROM i.instrument_id
LEFT JOIN offset_follows AS f
    ON
        i.technician_id = f.technician_id
        AND i.instrument_id IS NOT DISTINCT FROM f.instrument_id
        AND z.hidden_port = f.port
ORDER BY z.zeroing_state ASC, z.skip_lo DESC, abs(z.hidden_offset_inwc) DESC, z.technician_id ASC
LIMIT getvariable('top');
