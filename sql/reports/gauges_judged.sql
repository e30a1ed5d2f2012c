-- How many gauges could be judged for drift, on any port, and how many drift. One row.
SELECT
    count(DISTINCT instrument_id) AS n_gauges,
    count(DISTINCT instrument_id) FILTER (WHERE drift_state IN ('drifting', 'no_drift_seen')) AS n_judged,
    count(DISTINCT instrument_id) FILTER (WHERE drift_state = 'drifting') AS n_drifting
FROM instrument_drift;
