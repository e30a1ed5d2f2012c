-- Mann-Kendall: does a short series rise or fall at all? Lists xs and ys as in series.sql.
-- Fewer than two points with different x give NULL. Exact rather than quick, see series_theil_sen.sql.

-- Kendall's S: pairs of points of which the later is higher, less those of which the later is lower; ties count 0.
-- unit: pairs. source: Mann 1945; Kendall 1975
CREATE OR REPLACE MACRO mann_kendall_s(xs DOUBLE[], ys DOUBLE[]) AS (
    list_sum(flatten(list_transform(
        range(1, len(xs) + 1),
        LAMBDA _ks_i: list_transform(
            list_filter(
                range(1, len(xs) + 1), LAMBDA _ks_j: xs[_ks_j] > xs[_ks_i] AND ys[_ks_j] - ys[_ks_i] IS NOT NULL
            ),
            LAMBDA _ks_k: sign(ys[_ks_k] - ys[_ks_i])::BIGINT
        )
    )))::BIGINT
);

-- Variance of Kendall's S without a trend, where every x is another and values of y may be equal; NULLs do not count.
-- unit: pairs squared. source: Kendall 1975: (n (n - 1)(2 n + 5) - sum t (t - 1)(2 t + 5)) / 18
CREATE OR REPLACE MACRO mann_kendall_var(ys DOUBLE[]) AS (
    CASE
        WHEN list_count(ys) > 1
            THEN (list_count(ys) * (list_count(ys) - 1) * (2 * list_count(ys) + 5) - _tie_term(ys)) / 18e0
    END
);

-- What pairs that are tied in x and in y too give back to the variance of Kendall's S.
-- unit: pairs squared. source: Kendall 1975; 0 where every x or every y is another
CREATE OR REPLACE MACRO _doubly_tied(n DOUBLE, xs DOUBLE[], ys DOUBLE[]) AS (
    _tied_pairs(xs) * _tied_pairs(ys) / (2 * n * (n - 1))
    + CASE WHEN n > 2 THEN _tied_triples(xs) * _tied_triples(ys) / (9 * n * (n - 1) * (n - 2)) ELSE 0 END
);

-- Variance of Kendall's S of a series without a trend, where values of x may be equal too.
-- unit: pairs squared. source: Kendall 1975; the same as mann_kendall_var(ys) where every x is another
CREATE OR REPLACE MACRO kendall_var(xs DOUBLE[], ys DOUBLE[]) AS (
    list_extract(list_transform(
        [struct_pack(x := _known_pairs(xs, ys), y := _known_pairs(ys, xs))],
        LAMBDA _kv: mann_kendall_var(_kv.y) - _tie_term(_kv.x) / 18e0 + _doubly_tied(len(_kv.x), _kv.x, _kv.y)
    ), 1)
);

-- Mann-Kendall statistic: S, brought one nearer to 0 for continuity, over its standard deviation; 0 where S is 0.
-- unit: standard deviations. source: Kendall 1975; as pymannkendall.original_test
CREATE OR REPLACE MACRO mann_kendall_z(xs DOUBLE[], ys DOUBLE[]) AS (
    list_extract(list_transform(
        [struct_pack(s := mann_kendall_s(xs, ys), variance := kendall_var(xs, ys))],
        LAMBDA _kz: CASE
            WHEN _kz.s = 0 THEN 0e0
            WHEN _kz.variance > 0 THEN (_kz.s - sign(_kz.s)) / sqrt(_kz.variance)
        END
    ), 1)
);

-- Two-sided p-value of the Mann-Kendall statistic by the normal approximation with correction for continuity.
-- unit: probability. source: Kendall 1975; as pymannkendall.original_test
CREATE OR REPLACE MACRO mann_kendall_p(xs DOUBLE[], ys DOUBLE[]) AS (
    list_extract(list_transform(
        [mann_kendall_z(xs, ys)], LAMBDA _kp: 2 * normal_cdf(-abs(_kp))
    ), 1)
);
