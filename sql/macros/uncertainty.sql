-- Standard uncertainty (k = 1) of what is known only as a width. Guide: JCGM 100:2008 (GUM).

-- Standard uncertainty of a value known only to lie within plus or minus a half-width, all of it equally likely: a / sqrt(3).
-- unit: that of half_width. source: JCGM 100:2008 4.3.7 (from memory)
CREATE OR REPLACE MACRO rectangular(half_width DOUBLE) AS (
    half_width / sqrt(3e0)
);

-- Standard uncertainty of a value within plus or minus a half-width, the middle likelier than the ends: a / sqrt(6).
-- unit: that of half_width. source: JCGM 100:2008 4.3.9 (from memory)
CREATE OR REPLACE MACRO triangular(half_width DOUBLE) AS (
    half_width / sqrt(6e0)
);

-- Standard uncertainty of a reading shown in steps of d: d / sqrt(12).
-- unit: that of d. source: JCGM 100:2008 F.2.2.1 (from memory)
CREATE OR REPLACE MACRO resolution_u(d DOUBLE) AS (
    d / sqrt(12e0)
);

-- Combined standard uncertainty of c1 x1 + c2 x2, the two being correlated: sqrt((c1 u1)^2 + (c2 u2)^2 + 2 c1 u1 c2 u2 r).
-- unit: that of the sum; c1 u1 and c2 u2 in that unit, r from -1 to 1. source: JCGM 100:2008 5.2.2 (from memory)
CREATE OR REPLACE MACRO combined_u(c1 DOUBLE, u1 DOUBLE, c2 DOUBLE, u2 DOUBLE, r DOUBLE) AS (
    CASE
        WHEN r BETWEEN -1 AND 1
            THEN sqrt((c1 * u1 + r * c2 * u2) * (c1 * u1 + r * c2 * u2) + (1 - r * r) * (c2 * u2) * (c2 * u2))
    END
);
