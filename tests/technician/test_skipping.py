"""Skip rates: published limits, references of scipy, planted skippers, and small fleets."""

from __future__ import annotations

import math
from fractions import Fraction

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import optimize, special, stats

from pipeline.technician.skipping import (
    SIZES,
    BetaBinomial,
    Counted,
    Fit,
    at_least,
    funnel_limit,
    likeliest,
    skip_rates,
)


def beta_binomial(skipped: NDArray[np.float64], visits: NDArray[np.float64]) -> Fit:
    """The likeliest one of these technicians."""
    counted = Counted(skipped, visits)
    return likeliest(counted, counted.of(np.ones(len(visits), np.bool_)))


def nearly_binomial(rate: float) -> BetaBinomial:
    return BetaBinomial(rate * 1e9, (1 - rate) * 1e9, most=400)


@pytest.mark.parametrize(
    ("rate", "n", "p", "limit"),
    [
        # Exact limits, interpolated (Spiegelhalter 2005; formula from memory, values computed independently).
        (0.10, 100, 0.975, 0.15772),
        (0.10, 100, 0.999, 0.19836),
        (0.074, 200, 0.975, 0.10969),
        (0.074, 200, 0.9995, 0.13902),
    ],
)
def test_funnel_limits(rate: float, n: int, p: float, limit: float) -> None:
    assert funnel_limit(np.array([float(n)]), nearly_binomial(rate), p)[0] == pytest.approx(limit, abs=6e-5)


def test_beta_binomial_is_the_maximum_of_scipys_likelihood() -> None:
    rng = np.random.default_rng(4)
    visits = rng.integers(20, 200, 300).astype(float)
    skipped = stats.betabinom.rvs(visits.astype(int), 2.0, 38.0, random_state=rng).astype(float)
    fit = beta_binomial(skipped, visits)
    a, b = fit.a, fit.b
    rate = a / (a + b)

    def loss(log_size: float) -> float:
        size = np.exp(log_size)
        return -float(stats.betabinom.logpmf(skipped, visits, rate * size, (1 - rate) * size).sum())

    best = optimize.minimize_scalar(loss, bounds=(0.7, 13), method="bounded")
    assert a + b == pytest.approx(float(np.exp(best.x)), rel=0.01)
    assert a + b == pytest.approx(40.0, rel=0.4)
    ways = (
        stats.betabinom.logpmf(skipped, visits, 1, 1) - special.betaln(skipped + 1, visits - skipped + 1)
    ).sum()
    logs = stats.betabinom.logpmf(skipped, visits, a, b).sum()
    assert fit.log_likelihood == pytest.approx(logs - ways, rel=1e-9)


def test_tail_probabilities_are_scipys() -> None:
    rng = np.random.default_rng(9)
    visits = rng.integers(1, 400, 500).astype(float)
    skipped = np.floor(visits * rng.random(500) ** 3)
    for a, b in ((0.5, 12.0), (30.0, 900.0), (5e4, 9.5e5)):
        expected = stats.betabinom.sf(skipped - 1, visits, a, b)
        assert at_least(skipped, visits, BetaBinomial(a, b, 400)) == pytest.approx(
            expected, rel=1e-5, abs=1e-8
        )


@pytest.mark.parametrize(("a", "b"), [(2, 38), (50_000, 950_000)])
def test_probabilities_equal_exact_fractions(a: int, b: int) -> None:
    """C(n, k) (a)_k (b)_(n-k) / (a+b)_n in whole numbers."""
    n = 120

    def rising(x: int, k: int) -> int:
        return math.prod(range(x, x + k))

    exact = [
        Fraction(math.comb(n, k) * rising(a, k) * rising(b, n - k), rising(a + b, n)) for k in range(n + 1)
    ]
    found = BetaBinomial(a, b, most=400).probabilities(n)
    assert found == pytest.approx([float(p) for p in exact], rel=1e-11, abs=0)


def test_skippers_do_not_raise_the_fleets_rate() -> None:
    rng = np.random.default_rng(5)
    visits = np.full(38, 120.0)
    rate = np.where(np.arange(38) < 6, 0.5, 0.03)
    skipped = rng.binomial(120, rate).astype(float)
    found = skip_rates(skipped, visits, 0.999, np.full(38, True))
    assert found.fleet_rate == pytest.approx(0.03, abs=0.01)
    assert (found.p_value[:6] < 1e-6).all()
    assert (found.p_value[6:] > 0.001).all()
    assert (found.shrunk_rate[:6] < skipped[:6] / 120).all()


def test_shrunk_rates_lie_between_the_own_rate_and_the_fleets() -> None:
    """Skippers neither draw the rates of sound technicians away from the fleet's, nor lose what sets them apart."""
    rng = np.random.default_rng(8)
    visits = np.concatenate([np.full(30, 150.0), [3.0, 8.0, 8.0]])
    rate = np.where(np.arange(33) < 2, 0.6, 0.035)
    skipped = rng.binomial(visits.astype(int), rate).astype(float)
    skipped[-1] = 8
    found = skip_rates(skipped, visits, 0.999, visits >= 20)
    own, fleet = skipped / visits, found.fleet_rate
    inside = (found.shrunk_rate >= np.minimum(own, fleet) - 1e-12) & (
        found.shrunk_rate <= np.maximum(own, fleet) + 1e-12
    )
    assert inside.all()
    assert (found.shrunk_rate[[0, 1]] > 0.5).all()
    assert found.shrunk_rate[-1] > 0.3  # 8 of 8: too few to be named, too many to be one of the fleet


def test_honest_spread_accuses_nobody() -> None:
    """Sound technicians who differ between 1 and 8 % are not skippers."""
    rng = np.random.default_rng(6)
    accused = 0
    for _ in range(50):
        skipped = rng.binomial(100, rng.uniform(0.01, 0.08, 38)).astype(float)
        found = skip_rates(skipped, np.full(38, 100.0), 0.999, np.full(38, True))
        accused += int((stats.false_discovery_control(found.p_value) <= 0.05).sum())
    assert accused <= 0.03 * 50 * 38


def named(spread: float, technicians: int, draws: int, skippers: int = 0) -> tuple[float, float]:
    """Shares of fleets (~180 visits each, mean 5 %) where anybody sound is named, and of skippers at 35 % found."""
    rng = np.random.default_rng(9)
    size = 0.05 * 0.95 / spread**2 - 1
    wrong, found = 0, 0
    for _ in range(draws):
        visits = rng.poisson(180, technicians)
        rate = rng.beta(0.05 * size, 0.95 * size, technicians)
        rate[:skippers] = 0.35
        skipped = rng.binomial(visits, rate).astype(float)
        judged = skip_rates(skipped, visits.astype(float), 0.999, np.full(technicians, True))
        is_named = stats.false_discovery_control(judged.p_value) <= 0.05
        wrong += int(is_named[skippers:].any())
        found += int(is_named[:skippers].sum())
    return wrong / draws, found / max(draws * skippers, 1)


@pytest.mark.parametrize("spread", [0.015, 0.028, 0.039])
def test_the_honest_tail_is_not_cut_off_before_the_spread_is_fitted(spread: float) -> None:
    """Trimmed as if all had one rate, somebody sound was named in 11, 33 and 57 % of such fleets."""
    wrong, _ = named(spread, 20, 80)
    assert wrong <= 0.125


@pytest.mark.parametrize(
    ("technicians", "spread", "least"), [(20, 0.015, 0.98), (20, 0.028, 0.85), (8, 0.015, 0.9)]
)
def test_true_skippers_are_found_all_the_same(technicians: int, spread: float, least: float) -> None:
    """Two at 35 %, also among six others; without any trimming half of them hide behind the spread that they make."""
    _, found = named(spread, technicians, 60, skippers=2)
    assert found >= least


@pytest.mark.parametrize("skipped", [[0.0], [5.0], [0.0, 0.0, 0.0]])
def test_small_fleets_give_numbers(skipped: list[float]) -> None:
    found = skip_rates(np.array(skipped), np.full(len(skipped), 5.0), 0.999, np.full(len(skipped), False))
    assert 0 < found.fleet_rate < 1
    assert np.isfinite(found.funnel_hi).all()
    assert ((found.p_value > 0) & (found.p_value <= 1)).all()


def test_no_spread_is_a_binomial() -> None:
    fit = beta_binomial(np.full(30, 4.0), np.full(30, 100.0))
    assert fit.log_size > SIZES[1] - np.log(100)


@pytest.mark.parametrize("near", [0.8, 3.0, 5.0, 12.0, 13.8])
@pytest.mark.parametrize("spread", [4.0, 40.0, 1e9])
def test_what_is_looked_for_near_another_is_found_wherever_it_lies(near: float, spread: float) -> None:
    rng = np.random.default_rng(5)
    skipped = rng.binomial(100, rng.beta(0.1 * spread, 0.9 * spread, 200)).astype(np.float64)
    visits = np.full(200, 100.0)
    whole = beta_binomial(skipped, visits)
    counted = Counted(skipped, visits)
    other = Fit(0.1 * np.exp(near), 0.9 * np.exp(near), 0.0)
    found = likeliest(counted, counted.of(np.ones(200, np.bool_)), other)
    assert found.log_likelihood == pytest.approx(whole.log_likelihood, abs=1e-6)
    assert (
        found.log_size == pytest.approx(whole.log_size, abs=1e-4) or min(found.log_size, whole.log_size) > 12
    )
