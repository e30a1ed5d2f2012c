-- Steps 5 and 6, wrong port, then range: a reading from the wrong side of the filter or the coil is brought to the
-- right port with the measured drop. `repaired_reading` keeps what every step made, a row per loaded visit; nothing
-- recorded is stored twice. All pressures in it are in in. w.c.
CREATE OR REPLACE TABLE repaired_reading AS
SELECT
    visit_id,
    right_return_port,
    right_supply_port,
    visited_on < installed_on AS before_install,
    visited_on > retired_on AS after_retirement,
    unit_wrong,
    plausible_in_other,
    unit_repaired,
    zero_factor <> factor AS zeros_kept_unit,
    return_read,
    supply_read,
    reported_inwc,
    sign_case,
    sign_repaired,
    exchanged,
    tesp_signed,
    zero_return_inwc,
    zero_supply_inwc,
    zero_return_large,
    zero_supply_large,
    return_zeroed,
    supply_zeroed,
    filter_drop_read,
    coil_drop_read,
    filter_drop_impossible,
    coil_drop_impossible,
    filter_drop_inwc,
    coil_drop_inwc,
    exceeds(filter_drop_inwc, rated_tesp_inwc) AS filter_over_rating,
    return_port_used <> right_return_port AS return_port_wrong,
    supply_port_used <> right_supply_port AS supply_port_wrong,
    return_port_wrong AND filter_drop_inwc IS NOT NULL AS return_port_repaired,
    supply_port_wrong AND coil_drop_inwc IS NOT NULL AS supply_port_repaired,
    CASE
        WHEN NOT return_port_repaired THEN return_zeroed
        WHEN right_return_port = 'after_filter' THEN return_zeroed - filter_drop_inwc
        ELSE return_zeroed + filter_drop_inwc
    END AS return_inwc,
    CASE
        WHEN NOT supply_port_repaired THEN supply_zeroed
        WHEN right_supply_port = 'before_coil' THEN supply_zeroed + coil_drop_inwc
        ELSE supply_zeroed - coil_drop_inwc
    END AS supply_inwc,
    supply_inwc - return_inwc AS tesp_inwc
FROM reading_zero;

-- The visit as recorded beside what the repairs made of it.
CREATE OR REPLACE VIEW reading AS
SELECT
    v.*,
    r.* EXCLUDE (visit_id)
FROM repaired_reading AS r
INNER JOIN visit AS v ON r.visit_id = v.visit_id;
