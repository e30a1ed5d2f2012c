"""How sure a rank is: the draws against scipy's Student t, the intervals against a simulation of our own."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from pipeline.site.ranks import Student, rank_intervals


@pytest.mark.parametrize("df", [2.5, 4.0, 9.7, 40.0])
def test_draws_are_student_t(df: float) -> None:
    """Kolmogorov-Smirnov against scipy.stats.t, and its quantiles."""
    drawn = Student(np.full(200_000, df)).draw(np.random.default_rng(7))
    assert stats.kstest(drawn, "t", args=(df,)).pvalue > 0.001
    shares = [0.001, 0.025, 0.2, 0.5, 0.8, 0.975, 0.999]
    assert np.abs(stats.t.cdf(np.quantile(drawn, shares), df) - shares).max() < 0.004


def test_each_row_draws_with_its_own_degrees_of_freedom() -> None:
    df = np.tile([3.0, 30.0], 100_000)
    drawn = Student(df).draw(np.random.default_rng(8))
    assert stats.kstest(drawn[df == 3], "t", args=(3,)).pvalue > 0.001
    assert stats.kstest(drawn[df == 30], "t", args=(30,)).pvalue > 0.001
    assert stats.kstest(drawn[df == 3], "t", args=(30,)).pvalue < 1e-6


def test_intervals_are_those_of_a_plain_simulation() -> None:
    """20,000 draws by scipy.stats, ranked by scipy.stats.rankdata: bounds agree within what 400 draws leave open."""
    generator = np.random.default_rng(9)
    n = 60
    level, rated = 0.5 + 0.3 * generator.random(n), np.full(n, 0.5)
    error, df = 0.01 + 0.03 * generator.random(n), generator.choice([4.0, 7.0, 12.0], n)
    low, high = rank_intervals(level, error, df, rated)
    drawn = level + error * stats.t.rvs(df, size=(20_000, n), random_state=10) - rated
    ranks = stats.rankdata(-drawn, axis=1)
    expected_low, expected_high = np.quantile(ranks, [0.025, 0.975], axis=0)
    assert np.abs(low - expected_low).max() <= 3
    assert np.abs(high - expected_high).max() <= 3
    assert abs((high - low - expected_high + expected_low).mean()) < 0.5
    assert (high - low).max() > 10  # there was something to find


def test_an_empty_list_has_no_ranks() -> None:
    empty = np.zeros(0)
    low, high = rank_intervals(empty, empty, empty, empty)
    assert len(low) == len(high) == 0
