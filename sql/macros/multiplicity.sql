-- Benjamini-Hochberg: p-values of many tests at once, turned into false discovery rates.

-- Adjusted p-values (q) of a list of p-values, in the order given; a NULL stays NULL and does not count as a test.
-- unit: false discovery rate. source: Benjamini and Hochberg 1995: the least p (m / rank) among the p that are as large or larger
CREATE OR REPLACE MACRO bh_q(ps DOUBLE[]) AS (
    list_extract(list_transform(
        [list_sort(list_filter(ps, LAMBDA _bh_p: _bh_p IS NOT NULL))],
        LAMBDA _bh_sorted: list_transform(
            ps,
            LAMBDA _bh_own: list_min(list_transform(
                list_filter(range(1, len(_bh_sorted) + 1), LAMBDA _bh_i: _bh_sorted[_bh_i] >= _bh_own),
                LAMBDA _bh_j: least(_bh_sorted[_bh_j] * len(_bh_sorted) / _bh_j, 1)
            ))
        )
    ), 1)
);

-- A table or view with a column p_value, and beside its columns q_bh, the p-value adjusted over all rows that have one.
-- unit: false discovery rate. source: Benjamini and Hochberg 1995, as bh_q; the table's name is given in quotes
CREATE OR REPLACE MACRO bh_adjusted(table_name VARCHAR) AS TABLE (
    WITH ranked AS (
        SELECT
            *,
            count(p_value) OVER () AS bh_tests,
            row_number() OVER (ORDER BY p_value NULLS LAST) AS bh_rank
        FROM query_table(table_name)
    )

    SELECT
        * EXCLUDE (bh_tests, bh_rank),
        CASE
            WHEN p_value IS NOT NULL
                THEN min(least(p_value::DOUBLE * bh_tests / bh_rank, 1)) OVER (ORDER BY p_value DESC NULLS FIRST)
        END AS q_bh
    FROM ranked
);

-- What a trend is called: rising or falling where its q is at most q_limit, else steady; without a q or a slope, NULL.
-- unit: slope in any unit a year; a word. source: data contract section 3, site_trend
CREATE OR REPLACE MACRO trend_word(slope DOUBLE, q DOUBLE, q_limit DOUBLE) AS (
    CASE
        WHEN q <= q_limit AND slope > 0 THEN 'rising'
        WHEN q <= q_limit AND slope < 0 THEN 'falling'
        WHEN q > q_limit OR slope = 0 THEN 'steady'
    END
);
