-- Theil-Sen: how steep is the trend of a short series, and within what interval? Lists xs and ys as in series.sql.
-- Fewer than two points with different x give NULL. Exact rather than quick, as the work grows with the square of the number
-- of points or faster: right for a query on some sites; the fleet's own tables are made for all units at once.

-- Slopes between all pairs of points with different x, in ascending order.
-- unit: that of y over that of x. source: Theil 1950; Sen 1968
CREATE OR REPLACE MACRO pair_slopes(xs DOUBLE[], ys DOUBLE[]) AS (
    list_sort(flatten(list_transform(
        CASE WHEN ys IS NOT NULL THEN range(1, len(xs) + 1) END,
        LAMBDA _ps_i: list_transform(
            list_filter(
                range(1, len(xs) + 1), LAMBDA _ps_j: xs[_ps_j] > xs[_ps_i] AND ys[_ps_j] - ys[_ps_i] IS NOT NULL
            ),
            LAMBDA _ps_k: (ys[_ps_k] - ys[_ps_i]) / (xs[_ps_k] - xs[_ps_i])
        )
    )))
);

-- Theil-Sen slope: the median of the slopes between all pairs of points with different x.
-- unit: that of y over that of x. source: Theil 1950; Sen 1968
CREATE OR REPLACE MACRO theil_sen_slope(xs DOUBLE[], ys DOUBLE[]) AS (
    list_median(pair_slopes(xs, ys))
);

-- Intercept that goes with the Theil-Sen slope: median(y) - slope * median(x).
-- unit: that of y. source: Conover 1980, Practical Nonparametric Statistics; as scipy.stats.theilslopes by default
CREATE OR REPLACE MACRO theil_sen_intercept(xs DOUBLE[], ys DOUBLE[]) AS (
    list_median(_known_pairs(ys, xs)) - theil_sen_slope(xs, ys) * list_median(_known_pairs(xs, ys))
);

-- Intercept as the median of what the Theil-Sen slope leaves over: median(y - slope * x).
-- unit: that of y. source: Siegel's form; as scipy.stats.theilslopes with method 'joint'
CREATE OR REPLACE MACRO theil_sen_intercept_joint(xs DOUBLE[], ys DOUBLE[]) AS (
    list_extract(list_transform(
        [theil_sen_slope(xs, ys)],
        LAMBDA _tj_b: list_median(list_transform(range(1, len(xs) + 1), LAMBDA _tj_i: ys[_tj_i] - _tj_b * xs[_tj_i]))
    ), 1)
);

-- Variance that Sen 1968 gives Kendall's S, the ties of x and of y taken off; NULL where that is negative.
-- unit: pairs squared. source: Sen 1968, equation 2.6; ties as scipy.stats.theilslopes
CREATE OR REPLACE MACRO _sen_variance(xs DOUBLE[], ys DOUBLE[]) AS (
    list_extract(list_transform(
        list_transform(
            [struct_pack(x := _known_pairs(xs, ys), y := _known_pairs(ys, xs))],
            LAMBDA _sv: 1e0 / 18 * (
                len(_sv.x) * (len(_sv.x) - 1) * (2 * len(_sv.x) + 5) - _tie_term(_sv.x) - _tie_term(_sv.y)
            )
        ),
        LAMBDA _sw: CASE WHEN _sw >= 0 THEN _sw END
    ), 1)
);

-- Both ends of the interval of the Theil-Sen slope at z standard deviations (1.96 for 95 %), as a list of two.
-- unit: that of y over that of x. source: Sen 1968; ranks rounded half to even as scipy.stats.theilslopes does
CREATE OR REPLACE MACRO theil_sen_interval(xs DOUBLE[], ys DOUBLE[], z DOUBLE) AS (
    list_extract(list_transform(
        [struct_pack(slopes := pair_slopes(xs, ys), spread := z * sqrt(_sen_variance(xs, ys)))],
        LAMBDA _ti: CASE
            WHEN _ti.spread IS NOT NULL
                THEN [
                    _ti.slopes[greatest(round_even((len(_ti.slopes) - _ti.spread) / 2, 0)::BIGINT, 1)],
                    _ti.slopes[least(round_even((len(_ti.slopes) + _ti.spread) / 2, 0)::BIGINT + 1, len(_ti.slopes))]
                ]
        END
    ), 1)
);

-- Lower end of the interval of the Theil-Sen slope at z standard deviations (1.96 for 95 %).
-- unit: that of y over that of x. source: as theil_sen_interval
CREATE OR REPLACE MACRO theil_sen_lo(xs DOUBLE[], ys DOUBLE[], z DOUBLE) AS (
    list_extract(theil_sen_interval(xs, ys, z), 1)
);

-- Upper end of the interval of the Theil-Sen slope at z standard deviations (1.96 for 95 %).
-- unit: that of y over that of x. source: as theil_sen_interval
CREATE OR REPLACE MACRO theil_sen_hi(xs DOUBLE[], ys DOUBLE[], z DOUBLE) AS (
    list_extract(theil_sen_interval(xs, ys, z), 2)
);
