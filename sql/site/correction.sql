-- What is taken off the readings of a technician with an instrument whose offset is material and significant (data
-- contract, "Doubtful zeroes and levels"), and its uncertainty, in digits that a few new readings do not move. In a group too
-- small for a centre no offset is told: nothing is taken off, but nobody knows that there is none (measurer_sd_untold_inwc).
CREATE OR REPLACE TEMP TABLE correction AS
SELECT
    technician_id,
    coalesce(instrument_id, '') AS instrument_id,
    return_doubtful OR supply_doubtful AS is_corrected,
    CASE WHEN return_doubtful THEN return_offset_inwc ELSE 0 END AS return_inwc,
    CASE WHEN supply_doubtful THEN supply_offset_inwc ELSE 0 END AS supply_inwc,
    CASE
        WHEN NOT is_corrected THEN pow(getvariable('measurer_sd_untold_inwc'), 2)
        -- Both ports have the same hand's zero: what nothing is taken off may be off by its own estimate, too.
        ELSE
            pow(round(return_offset_se, 4), 2) + pow(return_offset_inwc - return_inwc, 2)
            + pow(round(supply_offset_se, 4), 2) + pow(supply_offset_inwc - supply_inwc, 2)
    END AS variance
FROM instrument_offset
WHERE return_doubtful OR supply_doubtful OR return_offset_inwc IS NULL;
