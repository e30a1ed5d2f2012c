"""The probability that a cause is the largest, against an integral of scipy's and draws of the same two leads."""

from __future__ import annotations

import shutil
from pathlib import Path

import numpy as np
import pytest
from scipy import integrate, special, stats

from pipeline.functions import bivariate_t_cdf
from pipeline.site import run_site
from pipeline.warehouse import Warehouse
from tests.conftest import FIELD_TODAY

DF = (1.0, 3.0, 6.5, 10.0, 200.0)
CORRELATIONS = (-0.99, -0.5, 0.0, 0.5, 0.9, 0.999)
POINTS = ((0.0, 0.0), (-0.05, -0.4), (-1.5, -0.1), (-3.0, -2.0), (0.7, -0.3), (2.5, 1.0))


def _integrated(x: float, y: float, correlation: float, df: float) -> float:
    """P(T <= x and U <= y): given t, U is a t with one degree of freedom more, over the probability of t (Kotz and
    Nadarajah 2004, Multivariate t Distributions, 1.11; from memory)."""

    def below(probability: float) -> float:
        t = special.stdtrit(df, probability)
        scale = np.sqrt((1 - correlation**2) * (df + t * t) / (df + 1))
        return float(special.stdtr(df + 1, (y - correlation * t) / scale))

    return float(integrate.quad(below, 0, special.stdtr(df, x), limit=200)[0])


@pytest.mark.parametrize("df", DF)
@pytest.mark.parametrize("correlation", CORRELATIONS)
def test_the_function_is_the_integral(df: float, correlation: float) -> None:
    x, y = np.array(POINTS).T
    found = bivariate_t_cdf(x, y, np.full(len(x), correlation), np.full(len(x), df))
    wanted = [_integrated(*point, correlation, df) for point in POINTS]
    assert found == pytest.approx(wanted, abs=1e-5)
    # scipy's own, by lattice rules, is good to a few thousandths
    shape = [[1, correlation], [correlation, 1]]
    lattice = [stats.multivariate_t.cdf(point, shape=shape, df=df, random_state=1) for point in POINTS]
    assert found == pytest.approx(lattice, abs=5e-3)


def test_both_below_zero_by_the_angle() -> None:
    """P(T <= 0 and U <= 0) = 1/4 + asin(correlation) / 2 pi, whatever the degrees of freedom (Sheppard 1899)."""
    correlation = np.array([-1.0, -0.7, 0.0, 0.3, 1.0])
    zero, df = np.zeros(5), np.array([1.0, 2.0, 6.0, 30.0, 1e6])
    wanted = 0.25 + np.arcsin(correlation) / (2 * np.pi)
    assert bivariate_t_cdf(zero, zero, correlation, df) == pytest.approx(wanted, abs=1e-9)


@pytest.mark.parametrize("x", [-np.inf, -1e308, np.inf, 1e308])
@pytest.mark.parametrize("correlation", [np.nan, 0.5, 1.0 + 1e-12])
def test_endless_leads(x: float, correlation: float) -> None:
    """Without scatter: all or nothing in the one, whatever the correlation."""
    for y in (-np.inf, -0.3, 0.4, np.inf):
        found = bivariate_t_cdf(*(np.array([v]) for v in (x, y, correlation, 6.0)))
        wanted = 0.0 if x < 0 else special.stdtr(6.0, y)
        assert found.item() == pytest.approx(wanted, abs=1e-6)


@pytest.mark.parametrize(
    ("means", "variances", "n"),
    [
        ((0.067, 0.067, 0.067), (4e-4, 4e-4, 4e-4), 5),
        ((0.05, 0.05, -0.2), (4e-4, 5e-4, 3e-4), 4),
        ((0.021, 0.017, -0.015), (9e-3, 2e-2, 3e-3), 4),
        ((0.03, 0.02, 0.021), (1e-3, 1e-3, 3.8e-3), 6),
    ],
)
def test_the_leads_of_one_cause_go_together(
    means: tuple[float, float, float], variances: tuple[float, float, float], n: int
) -> None:
    """The variance of one rival's lead over the other tells how: draws of three causes, of which only leads count."""
    one, two, rivals = (v / n for v in variances)
    both = (one + two - rivals) / 2
    rng = np.random.default_rng(7)
    lead = rng.multivariate_normal([0, 0], [[one, both], [both, two]], 400_000)
    lead /= np.sqrt(rng.chisquare(n, 400_000) / n)[:, None]
    lead += (means[0] - means[1], means[0] - means[2])
    se = np.sqrt([one, two])
    margins = np.array([means[0] - means[1], means[0] - means[2]]) / se
    found = bivariate_t_cdf(*margins[:, None], np.array([both / se.prod()]), np.array([float(n)]))
    assert found.item() == pytest.approx((lead > 0).all(axis=1).mean(), abs=0.004)


def test_a_fleets_units(small_file: Path, tmp_path: Path) -> None:
    """The chance that both leads are above zero, from the leads that the site stage found."""
    path = tmp_path / "work.duckdb"
    shutil.copy(small_file.with_name("work.duckdb"), path)
    with Warehouse(path) as warehouse:
        warehouse.set_variable("today", FIELD_TODAY, "DATE")
        run_site(warehouse)
        rows = warehouse.query(
            "SELECT c.*, v.prob_side, getvariable('scatter_prior_df') AS prior_df, "
            "getvariable('cause_variance') AS prior "
            "FROM cause_lead AS c JOIN staging.unit_verdict AS v USING (unit_no) "
            "WHERE v.prob_side IS NOT NULL"
        ).to_dicts()
    assert len(rows) > 10
    assert min(row["prob_side"] for row in rows) < 0.99
    for row in rows:
        df = row["prior_df"] + row["n"] - 1
        one, two, rivals = (
            (row["prior_df"] * row["prior"] + (row["n"] - 1) * (row[name] or 0)) / df / row["n"]
            for name in ("variance_1", "variance_2", "variance_rivals")
        )
        together = (one + two - rivals) / 2 / np.sqrt(one * two)
        leads = [row["margin_1"] / np.sqrt(one), row["margin_2"] / np.sqrt(two)]
        assert row["prob_side"] == pytest.approx(_integrated(*leads, together, df), abs=1e-5)
