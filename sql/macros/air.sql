-- Air: density with elevation, velocity pressure, air power. Standard air is 0.075 lb/ft3.

-- Density of the standard atmosphere at an elevation, as a share of that at sea level; NULL outside -16,000 to 36,000 ft.
-- unit: ft; share. source: US Standard Atmosphere 1976, lowest layer: H = r0 Z / (r0 + Z) with r0 = 6356766 m,
-- T = 288.15 K - 6.5 K/km H, density ratio = (T / 288.15 K)^(g0 M / (R L) - 1) with g0 9.80665, M 28.9644, R 8.31432e3, L 6.5e-3
CREATE OR REPLACE MACRO density_ratio(elevation_ft DOUBLE) AS (
    CASE
        WHEN elevation_ft BETWEEN -16000 AND 36000
            THEN power(
                1 - 6.5e-3 / 288.15e0 * (6356766e0 * (0.3048e0 * elevation_ft) / (6356766e0 + 0.3048e0 * elevation_ft)),
                9.80665e0 * 28.9644e0 / (8.31432e3 * 6.5e-3) - 1
            )
    END
);

-- Velocity pressure of standard air moving at a speed.
-- unit: ft/min to in. w.c. source: trade convention (V / 4005)^2; first principles give 4008.6 with the conventional inch
CREATE OR REPLACE MACRO velocity_pressure_inwc(fpm DOUBLE) AS (
    (fpm / 4005e0) * (fpm / 4005e0)
);

-- Speed of standard air that makes a velocity pressure; NULL where the pressure is negative.
-- unit: in. w.c. to ft/min. source: trade convention V = 4005 sqrt(VP)
CREATE OR REPLACE MACRO velocity_fpm(vp DOUBLE) AS (
    CASE WHEN vp >= 0 THEN 4005e0 * sqrt(vp) END
);

-- Power that an airflow gains against a pressure: flow times pressure, without the losses of fan and motor.
-- unit: cfm and in. w.c. to W. source: definition; 0.028316846592 / 60 m3/s per cfm times 249.08891 Pa per in. w.c. = 0.1175569
CREATE OR REPLACE MACRO air_power_w(cfm DOUBLE, inwc DOUBLE) AS (
    (0.028316846592e0 / 60 * 249.08891e0) * cfm * inwc
);

-- Pressure that the same fan or duct would show in standard air at the same airflow, from one measured at an elevation.
-- unit: that of pressure; elevation in ft. source: pressure goes with density at one airflow (fan laws, AMCA 201)
CREATE OR REPLACE MACRO to_standard_air(pressure DOUBLE, elevation_ft DOUBLE) AS (
    pressure / density_ratio(elevation_ft)
);
