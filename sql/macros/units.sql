-- Units of pressure and airflow. The inch of water is the conventional one (1000 kg/m3, 9.80665 m/s2).

-- Factor that turns a pressure recorded in a unit (inwc, pa, mmwc) into inches of water column; no unit counts as inwc, any other word gives NULL.
-- unit: in. w.c. per unit. source: NIST SP 811 App. B, 249.08891 Pa per conventional inch; 25.4 mm per inch by definition
CREATE OR REPLACE MACRO inwc_per(unit VARCHAR) AS (
    CASE coalesce(unit, 'inwc')
        WHEN 'inwc' THEN 1e0
        WHEN 'pa' THEN 1 / 249.08891e0
        WHEN 'mmwc' THEN 1 / 25.4e0
    END
);

-- A pressure recorded in a unit (inwc, pa, mmwc; no unit counts as inwc), in inches of water column.
-- unit: in. w.c. source: NIST SP 811 App. B, as inwc_per
CREATE OR REPLACE MACRO to_inwc(value DOUBLE, unit VARCHAR) AS (
    value * inwc_per(unit)
);

-- A unit of pressure (inwc, pa, mmwc; no unit counts as inwc) as it is written: in. w.c., Pa, mm w.c.
-- unit: text. source: data contract section 1
CREATE OR REPLACE MACRO unit_words(unit VARCHAR) AS (
    CASE coalesce(unit, 'inwc')
        WHEN 'inwc' THEN 'in. w.c.'
        WHEN 'pa' THEN 'Pa'
        WHEN 'mmwc' THEN 'mm w.c.'
    END
);

-- Inches of water column in pascals.
-- unit: Pa. source: NIST SP 811 App. B, 249.08891 Pa per conventional inch of water
CREATE OR REPLACE MACRO inwc_to_pa(x DOUBLE) AS (
    x * 249.08891e0
);

-- Pascals in inches of water column.
-- unit: in. w.c. source: NIST SP 811 App. B, 249.08891 Pa per conventional inch of water
CREATE OR REPLACE MACRO pa_to_inwc(x DOUBLE) AS (
    x / 249.08891e0
);

-- Inches of water column in millimetres of water column.
-- unit: mm w.c. source: definition of the inch
CREATE OR REPLACE MACRO inwc_to_mmwc(x DOUBLE) AS (
    x * 25.4e0
);

-- Airflow in litres per second.
-- unit: cfm to L/s. source: definition of the foot, 0.028316846592 m3 per ft3
CREATE OR REPLACE MACRO cfm_to_ls(x DOUBLE) AS (
    x * (28.316846592e0 / 60)
);

-- Airflow in cubic metres per hour.
-- unit: cfm to m3/h. source: definition of the foot, 0.028316846592 m3 per ft3
CREATE OR REPLACE MACRO cfm_to_m3h(x DOUBLE) AS (
    x * (0.028316846592e0 * 60)
);

-- Total external static pressure: supply minus return, each with its sign (return -0.22, supply 0.31 make 0.53).
-- unit: in. w.c. in, in. w.c. out. source: data contract section 4
CREATE OR REPLACE MACRO tesp(return_static DOUBLE, supply_static DOUBLE) AS (
    supply_static - return_static
);
