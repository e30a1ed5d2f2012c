-- Does a doubtful offset follow the technician or the instrument? Told only where the same technician used other
-- gauges, or the gauge went through other hands, often enough; otherwise it cannot be told, and that is said.
CREATE OR REPLACE TABLE offset_follows AS
WITH other_gauge AS (
    SELECT
        p.technician_id,
        p.instrument_id,
        p.port,
        sum(o.n_visits)::BIGINT AS n,
        sum(o.offset_inwc / pow(o.offset_se, 2)) / sum(1 / pow(o.offset_se, 2)) AS offset_inwc,
        sqrt(1 / sum(1 / pow(o.offset_se, 2))) AS se
    FROM offset_port AS p
    INNER JOIN offset_port AS o
        ON p.technician_id = o.technician_id AND p.port = o.port AND p.instrument_id <> o.instrument_id
    WHERE p.is_doubtful AND o.offset_se > 0
    GROUP BY p.technician_id, p.instrument_id, p.port
),

other_hand AS (
    SELECT
        p.technician_id,
        p.instrument_id,
        p.port,
        sum(o.n_visits)::BIGINT AS n,
        sum(o.offset_inwc / pow(o.offset_se, 2)) / sum(1 / pow(o.offset_se, 2)) AS offset_inwc,
        sqrt(1 / sum(1 / pow(o.offset_se, 2))) AS se
    FROM offset_port AS p
    INNER JOIN offset_port AS o
        ON p.instrument_id = o.instrument_id AND p.port = o.port AND p.technician_id <> o.technician_id
    WHERE p.is_doubtful AND o.offset_se > 0
    GROUP BY p.technician_id, p.instrument_id, p.port
),

compared AS (
    SELECT
        p.technician_id,
        p.instrument_id,
        p.port,
        p.offset_inwc,
        p.offset_se,
        coalesce(g.n, 0) AS n_other_gauges,
        g.offset_inwc AS same_technician_inwc,
        coalesce(h.n, 0) AS n_other_hands,
        h.offset_inwc AS same_instrument_inwc,
        -- The other readings carry the offset too (at least half of it, same sign), or they clearly do not.
        g.n >= getvariable('follow_min_visits') AND g.offset_inwc / p.offset_inwc - 2 * g.se / abs(p.offset_inwc) > 0.5
            AS technician_carries,
        g.n >= getvariable('follow_min_visits') AND g.offset_inwc / p.offset_inwc + 2 * g.se / abs(p.offset_inwc) < 0.5
            AS technician_free,
        h.n >= getvariable('follow_min_visits') AND h.offset_inwc / p.offset_inwc - 2 * h.se / abs(p.offset_inwc) > 0.5
            AS instrument_carries,
        h.n >= getvariable('follow_min_visits') AND h.offset_inwc / p.offset_inwc + 2 * h.se / abs(p.offset_inwc) < 0.5
            AS instrument_free
    FROM offset_port AS p
    LEFT JOIN other_gauge AS g USING (technician_id, instrument_id, port)
    LEFT JOIN other_hand AS h USING (technician_id, instrument_id, port)
    WHERE p.is_doubtful
)

SELECT
    technician_id,
    instrument_id,
    port,
    offset_inwc,
    offset_se,
    n_other_gauges,
    same_technician_inwc,
    n_other_hands,
    same_instrument_inwc,
    CASE
        WHEN technician_carries AND NOT coalesce(instrument_carries, FALSE) THEN 'technician'
        WHEN instrument_carries AND NOT coalesce(technician_carries, FALSE) THEN 'instrument'
        WHEN technician_free AND NOT coalesce(instrument_free, FALSE) THEN 'instrument'
        WHEN instrument_free AND NOT coalesce(technician_free, FALSE) THEN 'technician'
        ELSE 'cannot_be_told'
    END AS follows
FROM compared
ORDER BY technician_id, instrument_id, port;
