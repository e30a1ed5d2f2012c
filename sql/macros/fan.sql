-- Fans and ducts: fan laws, the duct curve, friction rate, blower-table look-up, and the split of a side's excess.

-- Airflow of the same fan at another speed: in proportion to the speed.
-- unit: that of x; speed_ratio = new speed / old speed. source: fan laws (AMCA 201), same fan and density
CREATE OR REPLACE MACRO fan_law_flow(x DOUBLE, speed_ratio DOUBLE) AS (
    x * speed_ratio
);

-- Pressure of the same fan at another speed: with the square of the speed.
-- unit: that of x; speed_ratio = new speed / old speed. source: fan laws (AMCA 201), same fan and density
CREATE OR REPLACE MACRO fan_law_pressure(x DOUBLE, speed_ratio DOUBLE) AS (
    x * speed_ratio * speed_ratio
);

-- Shaft power of the same fan at another speed: with the cube of the speed.
-- unit: that of x; speed_ratio = new speed / old speed. source: fan laws (AMCA 201), same fan and density
CREATE OR REPLACE MACRO fan_law_power(x DOUBLE, speed_ratio DOUBLE) AS (
    x * speed_ratio * speed_ratio * speed_ratio
);

-- Pressure or shaft power of the same fan at the same speed in air of another density: in proportion to the density.
-- unit: that of x; density_ratio = new density / old density. source: fan laws (AMCA 201); the airflow stays
CREATE OR REPLACE MACRO fan_law_density(x DOUBLE, density_ratio DOUBLE) AS (
    x * density_ratio
);

-- Pressure that a duct system needs at airflow q, if it needs p0 at q0; NULL where q is negative or q0 not above 0.
-- unit: pressure that of p0, airflow any. source: dp = K Q^n; n = 2 by convention, 1.8 to 2 for real ducts
CREATE OR REPLACE MACRO duct_curve_pressure(p0 DOUBLE, q0 DOUBLE, q DOUBLE, n DOUBLE) AS (
    CASE WHEN q >= 0 AND q0 > 0 THEN p0 * power(q / q0, n) END
);

-- Airflow through a duct system at pressure p, if q0 flows at p0; NULL where p has not the sign of p0, or p0 is 0.
-- unit: airflow that of q0, pressure any. source: the inverse of duct_curve_pressure
CREATE OR REPLACE MACRO duct_curve_flow(p0 DOUBLE, q0 DOUBLE, p DOUBLE, n DOUBLE) AS (
    CASE WHEN p0 <> 0 AND p / p0 >= 0 AND n > 0 THEN q0 * power(p / p0, 1 / n) END
);

-- Friction rate that a duct may be sized for: the available static pressure per 100 ft of total effective length.
-- unit: in. w.c. and ft to in. w.c. per 100 ft. source: ACCA Manual D, FR = ASP x 100 / TEL (secondary texts)
CREATE OR REPLACE MACRO friction_rate(asp DOUBLE, tel_ft DOUBLE) AS (
    CASE WHEN tel_ft > 0 THEN asp * 100 / tel_ft END
);

-- The return side's budget of a rated TESP, as a magnitude; the supply side's is the rest.
-- unit: rated in in. w.c., both design statics in one unit; in. w.c. source: data contract section 4, budget of a side
-- Its share of the design statics, half where they are not known or nothing (common practice, no source).
CREATE OR REPLACE MACRO return_budget(rated DOUBLE, design_return DOUBLE, design_supply DOUBLE) AS (
    coalesce(
        rated * abs(design_return) / nullif(abs(design_return) + abs(design_supply), 0),
        rated / 2
    )
);

-- Part of a side's excess over its budget, p - b, that is due to restriction.
-- unit: p and b as magnitudes in in. w.c.; in. w.c. source: data contract section 4
-- b (r - 1)(a + 1) / 2 with a = airflow_ratio^2 and r = p / (b a), written so that a budget of 0 does no harm. An airflow ratio
-- that is unknown or not above 0 leaves all of the excess here; with excess_airflow it adds up to p - b in every case.
CREATE OR REPLACE MACRO excess_restriction(p DOUBLE, b DOUBLE, airflow_ratio DOUBLE) AS (
    CASE
        WHEN airflow_ratio > 0
            THEN (p / (airflow_ratio * airflow_ratio) - b) * (airflow_ratio * airflow_ratio + 1) / 2
        ELSE p - b
    END
);

-- Part of a side's excess over its budget, p - b, that is due to the airflow setting.
-- unit: p and b as magnitudes in in. w.c.; in. w.c. source: data contract section 4
-- b (a - 1)(r + 1) / 2 with a = airflow_ratio^2 and r = p / (b a). An airflow ratio that is unknown or not above 0 gives 0:
-- nothing can be laid on the fan.
CREATE OR REPLACE MACRO excess_airflow(p DOUBLE, b DOUBLE, airflow_ratio DOUBLE) AS (
    CASE
        WHEN airflow_ratio > 0
            THEN (p / (airflow_ratio * airflow_ratio) + b) * (airflow_ratio * airflow_ratio - 1) / 2
        ELSE 0e0 * (p - b)
    END
);

-- Straight line through two points of a table, read at x; where both points share their x, y0 at that x and NULL elsewhere.
-- unit: y in that of y0 and y1, x any. source: linear interpolation
CREATE OR REPLACE MACRO interpolate(x DOUBLE, x0 DOUBLE, y0 DOUBLE, x1 DOUBLE, y1 DOUBLE) AS (
    CASE
        WHEN x0 = x1 AND x = x0 THEN y0
        WHEN x0 <> x1 THEN y0 + (y1 - y0) * ((x - x0) / (x1 - x0))
    END
);

-- The static by which a blower table, made for standard air, is asked; to 12 decimals, so that 0.2 + 0.1 is not beyond 0.3.
-- unit: tesp_inwc in in. w.c., density_ratio a share; in. w.c. source: data contract section 4, airflow
CREATE OR REPLACE MACRO static_for_table(tesp_inwc DOUBLE, density_ratio DOUBLE) AS (
    round(tesp_inwc / density_ratio, 12)
);

-- The cell of a tap's table that a static lies in, of equal ones counted from its first point; NULL beyond the table.
-- unit: static_inwc, static_start and static_end in in. w.c., cells_per_inwc per in. w.c.; number. source: definition
CREATE OR REPLACE MACRO table_cell(
    static_inwc DOUBLE, static_start DOUBLE, static_end DOUBLE, cells_per_inwc DOUBLE
) AS (
    CASE
        WHEN static_inwc BETWEEN static_start AND static_end
            THEN floor((static_inwc - static_start) * cells_per_inwc)::BIGINT
    END
);
