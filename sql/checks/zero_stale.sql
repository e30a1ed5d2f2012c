-- title: Zero too old
-- consequence: set_aside
-- why: A manometer drifts with temperature and handling: zero at each site, and again after hours.
SELECT
    visit_id,
    'set_aside' AS consequence,
    CASE
        WHEN zeroed_at < previous_visit_at THEN
            'zeroed before the technician''s previous visit of the day at '
            || strftime(previous_visit_at, '%Y-%m-%d %H:%M UTC')
        ELSE format('zeroed {:.1f} h before the reading', date_diff('second', zeroed_at, visited_at) / 3600.0)
    END AS detail
FROM reading
WHERE zeroed_at < previous_visit_at
    OR date_diff('microsecond', zeroed_at, visited_at) > getvariable('zero_max_age_h') * 3600e6;
