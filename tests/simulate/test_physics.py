"""The operating point against an independent solver, density against the standard atmosphere, the split's sum."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import brentq

from pipeline.simulate.fans import STEP_INWC, TAPS, make_fans
from pipeline.simulate.physics import density_ratio, excess_split, operating_point


def test_density_ratio_of_the_standard_atmosphere() -> None:
    # US Standard Atmosphere 1976 at 2000, 5000, 7000 ft (references: computed with the `fluids` library)
    found = density_ratio(np.array([0.0, 2000.0, 5000.0, 7000.0]))
    np.testing.assert_allclose(found, [1.0, 0.94278, 0.86170, 0.81070], atol=6e-5)


def test_operating_point_lies_on_both_curves_and_agrees_with_brentq() -> None:
    rng = np.random.default_rng(3)
    n = 400
    fans, fan = make_fans(
        rng.integers(0, 3, n), rng.choice([800.0, 1200.0, 2000.0], n), rng.choice([0.3, 0.5, 0.8], n)
    )
    tap = rng.integers(1, 4, n)
    wanted = rng.uniform(0.1, 0.9, n) * fans.highest(fan, tap)
    k = wanted / fans.airflow(fan, tap, wanted) ** 2 * rng.uniform(0.7, 1.2, n)
    sigma, share = rng.choice([1.0, 0.86], n), rng.choice([1.0, 0.9], n)
    cfm, static = operating_point(fans, fan, tap, k, sigma, share)
    np.testing.assert_allclose(static, k * cfm**2, rtol=1e-12)
    np.testing.assert_allclose(cfm, share * fans.airflow(fan, tap, static / sigma), atol=1e-7)
    for i in range(n):
        row = fan[i] * len(TAPS) + tap[i]
        points = int(fans.points[row])
        grid, table = STEP_INWC * np.arange(1, points + 1), fans.cfm[row, :points]

        def above(p: float, grid=grid, table=table, i=i) -> float:
            return k[i] * (share[i] * np.interp(p / sigma[i], grid, table)) ** 2 - p

        low, high = sigma[i] * grid[0], sigma[i] * grid[-1]
        if above(low) > 0 > above(high):  # else it lies beyond the printed table
            assert static[i] == pytest.approx(brentq(above, low, high, xtol=1e-13), abs=1e-9)


def test_more_resistance_means_less_air_and_more_static() -> None:
    fans, fan = make_fans(np.zeros(50, int), np.full(50, 1200.0), np.full(50, 0.5))
    k = np.linspace(1e-7, 8e-7, 50)
    cfm, static = operating_point(fans, fan, np.full(50, 2), k, np.ones(50), np.ones(50))
    assert (np.diff(cfm) < 0).all()
    assert (np.diff(static) > 0).all()


def test_split_adds_up_to_the_excess() -> None:
    rng = np.random.default_rng(4)
    n = 1000
    p_return, p_supply = -rng.uniform(0.02, 0.9, n), rng.uniform(0.02, 0.9, n)
    budget_return = rng.uniform(0.05, 0.4, n)
    rated = rng.choice([0.2, 0.5, 0.8], n)
    budget_return = budget_return * rated
    ratio = rng.uniform(0.5, 1.4, n)
    ratio[::7] = np.nan
    on_return, on_supply, setting = excess_split(
        p_return, p_supply, budget_return, rated - budget_return, ratio
    )
    total = on_return + on_supply + np.nan_to_num(setting)
    np.testing.assert_allclose(total, p_supply - p_return - rated, atol=1e-12)
    assert np.isnan(setting[::7]).all()
    np.testing.assert_allclose(on_return[::7], -p_return[::7] - budget_return[::7])


def test_split_worked_by_hand() -> None:
    # airflow as designed (a = 1): each side's excess over its budget is restriction; nothing is the fan's setting
    found = excess_split(
        np.array([-0.40]), np.array([0.30]), np.array([0.25]), np.array([0.25]), np.array([1.0])
    )
    np.testing.assert_allclose(np.concatenate(found), [0.15, 0.05, 0.0], atol=1e-12)
    # ducts exactly at budget, 20 % too much air: both sides at 1.44 of their budget, all of it the fan's setting
    found = excess_split(
        np.array([-0.36]), np.array([0.36]), np.array([0.25]), np.array([0.25]), np.array([1.2])
    )
    np.testing.assert_allclose(np.concatenate(found), [0.0, 0.0, 0.22], atol=1e-12)
