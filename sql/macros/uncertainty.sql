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
