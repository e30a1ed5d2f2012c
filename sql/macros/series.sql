-- Steps for series given as two lists, xs and ys: numbers, so give dates as years or days since a date.
-- A point with a NULL does not count. Names that begin with an underscore are not meant for use on their own.

-- The values of one list whose partner in the other list is known too, in their order.
-- unit: that of vs. source: this project's convention for unknown values
CREATE OR REPLACE MACRO _known_pairs(vs DOUBLE[], partners DOUBLE[]) AS (
    list_transform(
        list_filter(
            CASE WHEN partners IS NOT NULL THEN range(1, len(vs) + 1) END,
            LAMBDA _kp_i: vs[_kp_i] IS NOT NULL AND partners[_kp_i] IS NOT NULL
        ),
        LAMBDA _kp_j: vs[_kp_j]
    )
);

-- For each value of a list, how many values of the list equal it, itself included.
-- unit: none. source: definition
CREATE OR REPLACE MACRO _tie_sizes(vs DOUBLE[]) AS (
    list_transform(vs, LAMBDA _ts_v: len(list_filter(vs, LAMBDA _ts_o: _ts_o = _ts_v)))
);

-- Sum over groups of t equal values of t (t - 1)(2 t + 5): what ties take from Kendall's variance, times 18.
-- unit: none. source: Kendall 1975, Rank Correlation Methods (from memory)
CREATE OR REPLACE MACRO _tie_term(vs DOUBLE[]) AS (
    list_sum(list_transform(_tie_sizes(vs), LAMBDA _tt_t: (_tt_t - 1) * (2 * _tt_t + 5)))
);

-- Sum over groups of t equal values of t (t - 1): how many ordered pairs are tied.
-- unit: none. source: definition
CREATE OR REPLACE MACRO _tied_pairs(vs DOUBLE[]) AS (
    list_sum(list_transform(_tie_sizes(vs), LAMBDA _tp_t: _tp_t - 1))
);

-- Sum over groups of t equal values of t (t - 1)(t - 2): how many ordered triples are tied.
-- unit: none. source: definition
CREATE OR REPLACE MACRO _tied_triples(vs DOUBLE[]) AS (
    list_sum(list_transform(_tie_sizes(vs), LAMBDA _tr_t: (_tr_t - 1) * (_tr_t - 2)))
);
