"""The macros in the published file work in any DuckDB client: a fresh connection, nothing of the house loaded."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import duckdb
import numpy as np
import pymannkendall
import pytest
from scipy import stats
from statsmodels.stats.proportion import proportion_confint


@pytest.fixture
def con(small_file: Path) -> Iterator[duckdb.DuckDBPyConnection]:
    """As an analyst opens the file in a client of their own."""
    with duckdb.connect(str(small_file), read_only=True) as opened:
        yield opened


def _one(con: duckdb.DuckDBPyConnection, sql: str) -> float:
    ((value,),) = con.sql(f"SELECT {sql}").fetchall()
    return float(value)


def test_pressures(con: duckdb.DuckDBPyConnection) -> None:
    assert _one(con, "tesp(-0.22, 0.31)") == pytest.approx(0.53)  # data contract, section 4
    assert _one(con, "to_inwc(249.08891, 'pa')") == pytest.approx(1)  # NIST SP 811 App. B
    assert _one(con, "to_inwc(25.4, 'mmwc')") == pytest.approx(1)
    assert _one(con, "to_inwc(0.4, 'inwc')") == pytest.approx(0.4)


def test_probability_and_proportion(con: duckdb.DuckDBPyConnection) -> None:
    assert _one(con, "prob_over(0.6, 0.05, 0.5)") == pytest.approx(stats.norm.sf(-2.0), abs=1e-12)
    lo, hi = proportion_confint(7, 40, method="wilson")
    assert _one(con, "wilson_lo(7, 40)") == pytest.approx(lo, abs=1e-12)
    assert _one(con, "wilson_hi(7, 40)") == pytest.approx(hi, abs=1e-12)


def test_trends_of_real_series(con: duckdb.DuckDBPyConnection) -> None:
    rows = con.sql(
        """
        SELECT
            list(days ORDER BY visited_at, visit_id),
            list(tesp_inwc ORDER BY visited_at, visit_id),
            theil_sen_slope(list(days ORDER BY visited_at, visit_id), list(tesp_inwc ORDER BY visited_at, visit_id)),
            mann_kendall_p(list(days ORDER BY visited_at, visit_id), list(tesp_inwc ORDER BY visited_at, visit_id))
        FROM (SELECT *, epoch(visited_at) / 86400 AS days FROM visit_static WHERE like_new)
        GROUP BY equipment_id, mode
        HAVING count(*) >= 5
        ORDER BY equipment_id, mode
        LIMIT 20
        """
    ).fetchall()
    assert len(rows) == 20
    for days, values, slope, p_value in rows:
        assert slope == pytest.approx(stats.theilslopes(values, days).slope, abs=1e-12)
        assert p_value == pytest.approx(pymannkendall.original_test(np.array(values)).p, abs=1e-9)


def test_they_agree_with_the_published_columns(con: duckdb.DuckDBPyConnection) -> None:
    off = con.sql(
        """
        SELECT
            max(abs(tesp_inwc - tesp(return_inwc, supply_inwc))),
            max(abs(prob_over_rated - prob_over(tesp_inwc, u_tesp_inwc, rated_tesp_inwc)))
        FROM visit_static
        """
    ).fetchall()
    assert max(off[0]) < 1e-12
