-- Hodges-Lehmann: a robust centre of one sample, and a robust shift between two. Samples are lists of numbers.
-- A NULL in a list does not count; fewer than two values in a list give NULL.

-- Averages of all pairs of values of a list, each value with itself included, in ascending order (Walsh averages).
-- unit: that of xs. source: Hodges and Lehmann 1963
CREATE OR REPLACE MACRO walsh_averages(xs DOUBLE[]) AS (
    list_sort(flatten(list_transform(
        range(1, len(xs) + 1),
        LAMBDA _wa_i: list_filter(
            list_transform(range(_wa_i, len(xs) + 1), LAMBDA _wa_j: (xs[_wa_i] + xs[_wa_j]) / 2),
            LAMBDA _wa_v: _wa_v IS NOT NULL
        )
    )))
);

-- Hodges-Lehmann centre of a sample: the median of its Walsh averages.
-- unit: that of xs. source: Hodges and Lehmann 1963
CREATE OR REPLACE MACRO hodges_lehmann(xs DOUBLE[]) AS (
    CASE WHEN list_count(xs) > 1 THEN list_median(walsh_averages(xs)) END
);

-- Differences x - y of all pairs of one value from each list, in ascending order.
-- unit: that of xs and ys. source: Hodges and Lehmann 1963
CREATE OR REPLACE MACRO pair_differences(xs DOUBLE[], ys DOUBLE[]) AS (
    list_sort(list_filter(
        flatten(list_transform(
            CASE WHEN ys IS NOT NULL THEN range(1, len(xs) + 1) END,
            LAMBDA _pd_i: list_transform(range(1, len(ys) + 1), LAMBDA _pd_j: xs[_pd_i] - ys[_pd_j])
        )),
        LAMBDA _pd_v: _pd_v IS NOT NULL
    ))
);

-- Hodges-Lehmann shift of xs over ys: the median of all differences x - y.
-- unit: that of xs and ys. source: Hodges and Lehmann 1963
CREATE OR REPLACE MACRO hodges_lehmann_shift(xs DOUBLE[], ys DOUBLE[]) AS (
    CASE WHEN list_count(xs) > 1 AND list_count(ys) > 1 THEN list_median(pair_differences(xs, ys)) END
);
