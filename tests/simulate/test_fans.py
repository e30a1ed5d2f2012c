"""Blower tables against the published blower model, and look-up against numpy's interpolation."""

from __future__ import annotations

import numpy as np
import pytest

from pipeline.simulate.fans import MOTORS, STEP_INWC, TAPS, blower_cfm, blower_watts, make_fans

# US furnace-fan rulemaking, docket EERE-2014-BT-STD-0048-0098, eq. 7-C.4, as coded in an open rating library
# (status S, see references): cfm lost from 0.5 to 0.8 in. w.c., and W/cfm of a 3-ton unit at 0.1, 0.5, 0.8.
PUBLISHED = {
    "psc": (-207.6, (0.5019, 0.4675, 0.4816)),
    "constant_torque": (-133.7, (0.2027, 0.2675, 0.3308)),
    "constant_airflow": (-10.5, (0.1449, 0.2425, 0.3136)),
}


@pytest.mark.parametrize("motor", MOTORS)
def test_shape_is_the_published_one(motor: str) -> None:
    kind = np.full(3, MOTORS.index(motor))
    static, ones = np.array([0.1, 0.5, 0.8]), np.ones(3)
    cfm = blower_cfm(kind, 1200 * ones, 0.5 * ones, ones, static)
    lost, watts_per_cfm = PUBLISHED[motor]
    assert cfm[2] - cfm[1] == pytest.approx(lost, abs=0.06)
    assert cfm[1] == 1200
    watts = blower_watts(kind, 1200 * ones, 0.5 * ones, ones, static)
    np.testing.assert_allclose(watts / 1200, watts_per_cfm, atol=6e-5)


def test_look_up_is_linear_between_printed_points_and_goes_on_beyond_them() -> None:
    fans, fan = make_fans(np.array([0, 1, 2]), np.array([1200.0, 800.0, 2000.0]), np.array([0.5, 0.2, 0.8]))
    rng = np.random.default_rng(1)
    for unit in range(3):
        for tap in range(len(TAPS)):
            row = fan[unit] * len(TAPS) + tap
            points = int(fans.points[row])
            grid, table = STEP_INWC * np.arange(1, points + 1), fans.cfm[row, :points]
            static = rng.uniform(grid[0], grid[-1], 200)
            found = fans.airflow(np.full(200, fan[unit]), np.full(200, tap), static)
            np.testing.assert_allclose(found, np.interp(static, grid, table), rtol=0, atol=1e-9)
            beyond = fans.airflow(fan[unit : unit + 1], np.array([tap]), np.array([grid[-1] + STEP_INWC]))
            assert beyond[0] == pytest.approx(2 * table[-1] - table[-2])


def test_tables_end_before_the_air_does_and_are_mostly_falling() -> None:
    fans, _ = make_fans(np.arange(3), np.full(3, 1200.0), np.full(3, 0.5))
    for row, points in enumerate(fans.points):
        table = fans.cfm[row, :points]
        assert table.min() > 0
        falling = np.diff(table) < 0
        rises_a_little = MOTORS[row // len(TAPS)] == "constant_airflow"
        assert falling.mean() >= (0.4 if rises_a_little else 0.9)


def test_one_table_for_units_of_one_design() -> None:
    fans, fan = make_fans(np.array([0, 0, 1]), np.array([1200.0, 1200.0, 1200.0]), np.array([0.5, 0.5, 0.5]))
    assert len(fans.ids) == 2
    assert fan[0] == fan[1] != fan[2]
