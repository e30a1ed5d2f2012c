-- What the crew may expect: TESP, airflow and fan power like new, as it is and after each change. Beside it the static
-- as found, where a loaded filter (or what else was not like new) made it higher: putting that right gives what is.
CREATE OR REPLACE TABLE site_what_if ( -- noqa: PRS
    equipment_id VARCHAR USING COMPRESSION uncompressed,
    mode VARCHAR,
    change VARCHAR,
    tesp_inwc DOUBLE USING COMPRESSION uncompressed,
    airflow_cfm DOUBLE USING COMPRESSION uncompressed,
    power_w DOUBLE USING COMPRESSION uncompressed,
    tap VARCHAR,
    tesp_change_inwc DOUBLE USING COMPRESSION uncompressed,
    airflow_change_cfm DOUBLE USING COMPRESSION uncompressed,
    power_change_w DOUBLE USING COMPRESSION uncompressed
);

INSERT INTO site_what_if BY NAME
WITH told AS (
    SELECT
        a.unit_no,
        a.change,
        a.tesp_inwc,
        a.airflow_cfm,
        a.power_w,
        e.tap,
        a.tesp_inwc - n.tesp_inwc AS tesp_change_inwc,
        a.airflow_cfm - n.airflow_cfm AS airflow_change_cfm,
        a.power_w - n.power_w AS power_change_w
    FROM duct_answer AS a
    INNER JOIN blower_end AS e USING (curve)
    LEFT JOIN duct_answer AS n ON a.unit_no = n.unit_no AND n.change = 'as_it_is'
    UNION ALL
    SELECT
        s.unit_no,
        'as_found' AS change,
        s.as_found_level_inwc AS tesp_inwc,
        NULL AS airflow_cfm,
        NULL AS power_w,
        NULL AS tap,
        s.as_found_level_inwc - s.level_inwc AS tesp_change_inwc,
        NULL AS airflow_change_cfm,
        NULL AS power_change_w
    FROM staging.unit_verdict AS s
    WHERE
        NOT exceeds(getvariable('upkeep_material_inwc'), s.as_found_level_inwc - s.level_inwc)
        AND s.n_as_found > s.n_visits
)

SELECT u.equipment_id, u.mode, t.* EXCLUDE (unit_no)
FROM told AS t
INNER JOIN staging.unit_verdict AS u USING (unit_no);
