-- Statistics over proportions and lists: Wilson interval, Theil-Sen, Mann-Kendall, Hodges-Lehmann, Benjamini-Hochberg.
-- They are exact rather than quick: right for a query on some sites; the fleet's own tables are set-based.

-- Lower end of Wilson's score interval of a proportion, k of n, at z standard deviations; NULL unless 0 <= k <= n and n > 0.
-- unit: share. source: Wilson 1927; Newcombe 1998, Stat. Med. 17:857, method 3
CREATE OR REPLACE MACRO wilson_lo_z(k, n, z) AS
    CASE WHEN n > 0 AND k BETWEEN 0 AND n THEN
        greatest(0e0, (k + z * z / 2e0 - z * sqrt(k * (n - k) / CAST(n AS DOUBLE) + z * z / 4e0)) / (n + z * z))
    END;

-- Upper end of Wilson's score interval of a proportion, k of n, at z standard deviations; NULL unless 0 <= k <= n and n > 0.
-- unit: share. source: Wilson 1927; Newcombe 1998, Stat. Med. 17:857, method 3
CREATE OR REPLACE MACRO wilson_hi_z(k, n, z) AS
    CASE WHEN n > 0 AND k BETWEEN 0 AND n THEN
        least(1e0, (k + z * z / 2e0 + z * sqrt(k * (n - k) / CAST(n AS DOUBLE) + z * z / 4e0)) / (n + z * z))
    END;

-- Lower end of the 95 % Wilson interval of a proportion, k of n; NULL unless 0 <= k <= n and n > 0.
-- unit: share. source: as wilson_lo_z, z = 1.959963984540054
CREATE OR REPLACE MACRO wilson_lo(k, n) AS
    wilson_lo_z(k, n, 1.959963984540054e0);

-- Upper end of the 95 % Wilson interval of a proportion, k of n; NULL unless 0 <= k <= n and n > 0.
-- unit: share. source: as wilson_hi_z, z = 1.959963984540054
CREATE OR REPLACE MACRO wilson_hi(k, n) AS
    wilson_hi_z(k, n, 1.959963984540054e0);
