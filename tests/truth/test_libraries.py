"""The SQL macros against pint, scipy, statsmodels and pymannkendall, on random input with ties."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pint
import polars as pl
import pymannkendall
import pytest
from numpy.typing import NDArray
from scipy import stats
from statsmodels.stats.multitest import multipletests
from statsmodels.stats.proportion import proportion_confint

from pipeline.warehouse import Warehouse

Floats = NDArray[np.float64]
Series = tuple[list[float], list[float]]


@pytest.fixture(scope="module")
def warehouse() -> Iterator[Warehouse]:
    with Warehouse() as opened:
        yield opened


def over_table(warehouse: Warehouse, expression: str, **columns: Floats) -> Floats:
    """The expression computed in SQL over a table of these columns, in their order."""
    warehouse.store("given", pl.DataFrame(columns))
    return warehouse.query(f"SELECT CAST({expression} AS DOUBLE) AS got FROM given")["got"].to_numpy()


def series_with_ties(seed: int) -> list[Series]:
    """Short series in the order of x: y in steps of 0.01 to 1, x tied in every second one."""
    rng = np.random.default_rng(seed)
    made = []
    for i in range(150):
        n = int(rng.integers(2, 25))
        x = np.sort(rng.choice(60, n, replace=i % 2 == 1)).astype(float)
        step = (0.01, 0.1, 1.0)[i % 3]
        y = np.round((0.02 * x + rng.normal(0, 0.5, n)) / step) * step
        made.append((x.tolist(), y.tolist()))
    return made


@pytest.mark.parametrize(
    ("macro", "unit", "to_unit"),
    [
        ("inwc_to_pa(x)", "inH2O", "pascal"),
        ("pa_to_inwc(x)", "pascal", "inH2O"),
        ("inwc_to_mmwc(x)", "inH2O", "mmH2O"),
        ("to_inwc(x, 'pa')", "pascal", "inH2O"),
        ("to_inwc(x, 'mmwc')", "mmH2O", "inH2O"),
        ("to_inwc(x, NULL)", "inH2O", "inH2O"),
        ("cfm_to_ls(x)", "ft**3/min", "L/s"),
        ("cfm_to_m3h(x)", "ft**3/min", "m**3/h"),
        ("air_power_w(1, x)", "inH2O * ft**3/min", "W"),
    ],
)
def test_units_agree_with_pint(warehouse: Warehouse, macro: str, unit: str, to_unit: str) -> None:
    registry: pint.UnitRegistry[float] = pint.UnitRegistry()
    x = np.random.default_rng(1).uniform(-500, 500, 50)
    expected = registry.Quantity(x, unit).to(to_unit).magnitude
    # 249.08891 is the factor rounded to eight digits: pint's inch is 249.0889083 Pa
    np.testing.assert_allclose(over_table(warehouse, macro, x=x), expected, rtol=1e-8)


def test_normal_cdf_within_1e_15_of_scipy(warehouse: Warehouse) -> None:
    z = np.concatenate(
        [np.linspace(-38, 38, 400_001), [np.inf, -np.inf, 0.0, -7.07106781186547, 7.0710678118655]]
    )
    got = over_table(warehouse, "normal_cdf(z)", z=z)
    np.testing.assert_allclose(got, stats.norm.cdf(z), rtol=0, atol=1e-15)
    assert np.all(np.diff(got[:400_001]) >= -2e-16), "a probability may not fall while z rises"
    tail = (z < 0) & (z > -37)
    np.testing.assert_allclose(got[tail], stats.norm.cdf(z[tail]), rtol=1e-7)


def test_normal_pdf_agrees_with_scipy(warehouse: Warehouse) -> None:
    z = np.linspace(-38, 38, 10_001)
    np.testing.assert_allclose(
        over_table(warehouse, "normal_pdf(z)", z=z), stats.norm.pdf(z), rtol=1e-12, atol=0
    )


def test_normal_quantile_within_1e_14_of_scipy(warehouse: Warehouse) -> None:
    rng = np.random.default_rng(2)
    edges = [0.075, 0.925, np.exp(-25.0), 0.5 + 1e-9, 5e-324, 1 - 1e-16]
    p = np.concatenate([rng.uniform(0, 1, 50_000), 10 ** rng.uniform(-300, 0, 50_000), edges])
    np.testing.assert_allclose(
        over_table(warehouse, "normal_quantile(p)", p=p), stats.norm.ppf(p), rtol=1e-12
    )


def test_prob_over_agrees_with_scipy(warehouse: Warehouse) -> None:
    rng = np.random.default_rng(3)
    level, u, lim = rng.uniform(0, 1.5, 2000), rng.uniform(1e-4, 0.2, 2000), rng.uniform(0.2, 0.8, 2000)
    got = over_table(warehouse, "prob_over(level, u, lim)", level=level, u=u, lim=lim)
    np.testing.assert_allclose(got, stats.norm.sf(lim, level, u), rtol=0, atol=1e-14)


def test_wilson_agrees_with_statsmodels(warehouse: Warehouse) -> None:
    n, k = (part.ravel().astype(float) for part in np.meshgrid(np.arange(1, 60), np.arange(0, 60)))
    n, k = n[k <= n], k[k <= n]
    for alpha in (0.05, 0.002):
        z = float(stats.norm.ppf(1 - alpha / 2))
        lo, hi = proportion_confint(k, n, alpha=alpha, method="wilson")
        np.testing.assert_allclose(
            over_table(warehouse, f"wilson_lo_z(k, n, {z!r})", k=k, n=n), lo, atol=1e-14
        )
        np.testing.assert_allclose(
            over_table(warehouse, f"wilson_hi_z(k, n, {z!r})", k=k, n=n), hi, atol=1e-14
        )


def over_series(warehouse: Warehouse, series: list[Series], columns: str) -> list[tuple[float | None, ...]]:
    """The columns computed in SQL for each series, in their order."""
    frame = pl.DataFrame({"i": range(len(series)), "x": [x for x, _ in series], "y": [y for _, y in series]})
    warehouse.store("series", frame)
    return warehouse.con.sql(f"SELECT {columns} FROM series ORDER BY i").fetchall()


@pytest.mark.parametrize("alpha", [0.05, 0.10])
def test_theil_sen_agrees_with_scipy(warehouse: Warehouse, alpha: float) -> None:
    z = float(stats.norm.ppf(1 - alpha / 2))
    series = [(x, y) for x, y in series_with_ties(4) if len(set(x)) > 1]
    columns = f"""theil_sen_slope(x, y), theil_sen_lo(x, y, {z!r}), theil_sen_hi(x, y, {z!r}),
        theil_sen_intercept(x, y), theil_sen_intercept_joint(x, y)"""
    for (x, y), got in zip(series, over_series(warehouse, series, columns), strict=True):
        s, joint = stats.theilslopes(y, x, 1 - alpha), stats.theilslopes(y, x, 1 - alpha, method="joint")
        expected = (s.slope, s.low_slope, s.high_slope, s.intercept, joint.intercept)
        numbers = [np.nan if v is None else v for v in got]
        np.testing.assert_allclose(numbers, expected, rtol=1e-12, atol=1e-14, err_msg=f"{x} {y}")


def test_mann_kendall_agrees_with_pymannkendall(warehouse: Warehouse) -> None:
    series = [(x, y) for x, y in series_with_ties(5) if len(set(x)) == len(x)]
    columns = "mann_kendall_s(x, y), mann_kendall_var(y), kendall_var(x, y), mann_kendall_z(x, y), mann_kendall_p(x, y)"
    for (x, y), got in zip(series, over_series(warehouse, series, columns), strict=True):
        m = pymannkendall.original_test(y)
        expected = (m.s, m.var_s, m.var_s, m.z, m.p)
        np.testing.assert_allclose(got, expected, rtol=1e-12, atol=1e-14, err_msg=f"{x} {y}")


def test_kendall_variance_with_ties_in_both_agrees_with_scipy(warehouse: Warehouse) -> None:
    # scipy gives the p-value of S / sqrt(variance), without correction for continuity
    tied = [
        (x, y) for x, y in series_with_ties(6) if len(x) > 2 and 1 < len(set(x)) < len(x) and len(set(y)) > 1
    ]
    assert len(tied) > 30
    rows = over_series(
        warehouse, tied, "2 * normal_cdf(-abs(mann_kendall_s(x, y)) / sqrt(kendall_var(x, y)))"
    )
    expected = [stats.kendalltau(x, y, method="asymptotic", variant="b").pvalue for x, y in tied]
    np.testing.assert_allclose([row[0] for row in rows], expected, rtol=1e-9)


def test_hodges_lehmann_agrees_with_numpy(warehouse: Warehouse) -> None:
    rng = np.random.default_rng(7)
    for n, m in rng.integers(2, 30, (60, 2)):
        x, y = np.round(rng.normal(0, 1, n), 1), np.round(rng.normal(0.3, 1, m), 1)
        sql = "SELECT hodges_lehmann($x), hodges_lehmann_shift($x, $y)"
        got = warehouse.con.execute(sql, {"x": x.tolist(), "y": y.tolist()}).fetchall()[0]
        walsh = ((x[:, None] + x) / 2)[np.triu_indices(n)]
        np.testing.assert_allclose(got, (np.median(walsh), np.median(x[:, None] - y)), rtol=1e-12, atol=1e-14)


def test_benjamini_hochberg_agrees_with_statsmodels_and_scipy(warehouse: Warehouse) -> None:
    rng = np.random.default_rng(8)
    for n in (1, 2, 3, 10, 60):
        p = np.round(rng.uniform(0, 1, n) ** 3, 2)
        expected = multipletests(p, method="fdr_bh")[1]
        np.testing.assert_allclose(stats.false_discovery_control(p), expected, rtol=1e-12)
        got = warehouse.con.execute("SELECT bh_q($p)", {"p": p.tolist()}).fetchall()[0][0]
        np.testing.assert_allclose(got, expected, rtol=1e-12)
        warehouse.store("tested", pl.DataFrame({"id": range(n), "p_value": p}))
        table = warehouse.query("SELECT q_bh FROM bh_adjusted('tested') ORDER BY id")["q_bh"].to_numpy()
        np.testing.assert_allclose(table, expected, rtol=1e-12)
