-- What each instrument states: accuracy as a share of the reading and a floor, resolution, and how far its two ports share
-- their gain.
CREATE OR REPLACE TABLE instrument_limit AS
SELECT
    instrument_id,
    coalesce(accuracy_pct_of_reading, getvariable('default_accuracy_pct')) / 100 AS accuracy_share,
    coalesce(accuracy_floor_inwc, getvariable('default_accuracy_floor_inwc')) AS accuracy_floor_inwc,
    resolution_u(coalesce(resolution_inwc, getvariable('default_resolution_inwc'))) AS u_resolution,
    CASE WHEN port_style = 'paired_single_port' THEN 0 ELSE getvariable('port_correlation_dual') END
        AS port_correlation
FROM instrument;
