-- Wilson's score interval of a proportion: k of n.

-- Lower end of Wilson's score interval of a proportion, k of n, at z standard deviations; NULL unless 0 <= k <= n and n > 0.
-- unit: share. source: Wilson 1927; Newcombe 1998, Stat. Med. 17:857, method 3
CREATE OR REPLACE MACRO wilson_lo_z(k DOUBLE, n DOUBLE, z DOUBLE) AS (
    CASE
        WHEN k = 0 AND n > 0 THEN 0e0 * z
        WHEN n > 0 AND k BETWEEN 0 AND n
            THEN (k + 0.5e0 * z * z - z * sqrt(k * (n - k) / n + 0.25e0 * z * z)) / (n + z * z)
    END
);

-- Upper end of Wilson's score interval of a proportion, k of n, at z standard deviations; NULL unless 0 <= k <= n and n > 0.
-- unit: share. source: Wilson 1927; Newcombe 1998, Stat. Med. 17:857, method 3
CREATE OR REPLACE MACRO wilson_hi_z(k DOUBLE, n DOUBLE, z DOUBLE) AS (
    CASE
        WHEN k = n AND n > 0 THEN 1e0 + 0e0 * z
        WHEN n > 0 AND k BETWEEN 0 AND n
            THEN (k + 0.5e0 * z * z + z * sqrt(k * (n - k) / n + 0.25e0 * z * z)) / (n + z * z)
    END
);

-- Lower end of the 95 % Wilson interval of a proportion, k of n; NULL unless 0 <= k <= n and n > 0.
-- unit: share. source: as wilson_lo_z, z = 1.959963984540054
CREATE OR REPLACE MACRO wilson_lo(k DOUBLE, n DOUBLE) AS (
    wilson_lo_z(k, n, 1.959963984540054e0)
);

-- Upper end of the 95 % Wilson interval of a proportion, k of n; NULL unless 0 <= k <= n and n > 0.
-- unit: share. source: as wilson_hi_z, z = 1.959963984540054
CREATE OR REPLACE MACRO wilson_hi(k DOUBLE, n DOUBLE) AS (
    wilson_hi_z(k, n, 1.959963984540054e0)
);
