"""Hodges-Lehmann: the published example, brute force, and sizes that a list of all pairs would not stand."""

from __future__ import annotations

import numpy as np
import pytest

from pipeline.work.shift import hodges_lehmann, walsh


def all_averages(x: np.ndarray) -> np.ndarray:
    i, j = np.triu_indices(len(x))
    return np.sort((x[i] + x[j]) / 2)


def test_hollander_and_wolfe_example() -> None:
    """Depression scale factors, ch. 3: estimate 0.46, 96.1 % interval 0.010 to 0.786 (from memory)."""
    x = np.array([1.83, 0.50, 1.62, 2.48, 1.68, 1.88, 1.55, 3.06, 1.30])
    y = np.array([0.878, 0.647, 0.598, 2.05, 1.06, 1.29, 1.06, 3.14, 1.29])
    shift = hodges_lehmann(x - y)
    assert shift.estimate == pytest.approx(0.46, abs=0.0005)
    assert (shift.low, shift.high) == pytest.approx((0.010, 0.786), abs=0.0005)


@pytest.mark.parametrize("n", [1, 2, 6, 7, 50, 51, 300])
def test_equals_brute_force(n: int) -> None:
    x = np.random.default_rng(n).normal(-0.1, 0.05, n).round(3)  # rounded: ties
    averages = all_averages(x)
    assert hodges_lehmann(x).estimate == pytest.approx(float(np.median(averages)), abs=1e-12)
    for k in {1, len(averages) // 3 + 1, len(averages)}:
        assert walsh(np.sort(x), k) == pytest.approx(averages[k - 1], abs=1e-12)


def test_interval_covers_as_it_says() -> None:
    hits = 0
    for seed in range(600):
        shift = hodges_lehmann(np.random.default_rng(seed).normal(0.0, 0.05, 12))
        hits += shift.low <= 0 <= shift.high
    assert 0.93 <= hits / 600 <= 0.98


def test_many_pairs_cost_no_square() -> None:
    x = np.random.default_rng(3).normal(-0.1, 0.05, 200_000)
    shift = hodges_lehmann(x)
    assert shift.estimate == pytest.approx(-0.1, abs=0.001)
    assert shift.high - shift.low < 0.001
