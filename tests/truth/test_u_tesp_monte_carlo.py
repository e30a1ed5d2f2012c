"""u_tesp_inwc against a Monte Carlo of the measurement (JCGM 101:2008, the procedure of its clause 7, from memory).

The simulation measures: it draws what the instrument does wrong, rounds what the display shows, subtracts the zero as
shown, and takes the scatter of the TESP that comes out. It shares no formula with the SQL: there are variances in one,
draws in the other. 100 cases, each within 3 %.
"""

from __future__ import annotations

from itertools import product

import numpy as np
import polars as pl
import pytest
from numpy.typing import NDArray
from scipy import stats

from pipeline.settings import Settings
from pipeline.warehouse import Warehouse

DRAWS = 50_000
SETTINGS = Settings()
READINGS = ((-0.05, 0.12), (-0.22, 0.31), (-0.48, 0.15), (-0.33, 0.62), (-0.10, 0.95))
INSTRUMENTS = (  # accuracy in % of reading, floor, resolution (in. w.c.), port style
    (1.0, 0.002, 0.001, "dual_port"),
    (2.0, 0.01, 0.01, "dual_port"),
    (5.0, 0.005, 0.001, "paired_single_port"),
    (0.5, 0.02, 0.01, "paired_single_port"),
)
WAYS = (  # zeros of return and supply port, places of the probes, probe, drop that mended the return port, air known
    (0.004, -0.003, "straight_run", "straight_run", "static_tip", None, True),
    (None, None, "straight_run", "straight_run", "static_tip", None, True),
    (0.015, 0.0, "near_turn", "straight_run", "static_tip", None, False),
    (0.0, 0.012, "near_turn", "near_turn", "straight_tube", None, True),
    (-0.006, 0.006, "straight_run", "near_turn", "straight_tube", 0.11, False),
)
DESIGN_CFM, AIRFLOW_CFM, DENSITY = 1200.0, 1500.0, 0.8617  # at 5000 ft
CASES = list(product(READINGS, INSTRUMENTS, WAYS))


@pytest.fixture(scope="module")
def by_sql() -> list[float]:
    """u_tesp_inwc of every case from the pipeline's own SQL, in in. w.c."""
    reading = pl.DataFrame(
        [
            (
                f"V{i:03d}",
                f"M{INSTRUMENTS.index(gauge)}",
                *read,
                *way[:5],
                way[5],
                way[5] is not None,
                None,
                False,
                AIRFLOW_CFM if way[6] else None,
                None,
                DESIGN_CFM,
                DENSITY,
            )
            for i, (read, gauge, way) in enumerate(CASES)
        ],
        schema={
            "visit_id": pl.String,
            "instrument_id": pl.String,
            "return_signed": pl.Float64,
            "supply_signed": pl.Float64,
            "zero_return_inwc": pl.Float64,
            "zero_supply_inwc": pl.Float64,
            "return_location": pl.String,
            "supply_location": pl.String,
            "probe_kind": pl.String,
            "filter_drop_inwc": pl.Float64,
            "return_port_repaired": pl.Boolean,
            "coil_drop_inwc": pl.Float64,
            "supply_port_repaired": pl.Boolean,
            "measured_cfm": pl.Float64,
            "table_cfm": pl.Float64,
            "design_cfm": pl.Float64,
            "density_ratio": pl.Float64,
        },
        orient="row",
    )
    instrument = pl.DataFrame(
        [(f"M{i}", *gauge) for i, gauge in enumerate(INSTRUMENTS)],
        schema=[
            "instrument_id",
            "accuracy_pct_of_reading",
            "accuracy_floor_inwc",
            "resolution_inwc",
            "port_style",
        ],
        orient="row",
    )
    with Warehouse() as warehouse:
        warehouse.store("visit_airflow", reading)
        warehouse.store("instrument", instrument)
        warehouse.run("static/instrument_limit.sql")
        warehouse.run("static/visit_uncertainty_part.sql")
        rows = warehouse.query("SELECT u_tesp_inwc FROM visit_uncertainty_part ORDER BY visit_id")
    return rows["u_tesp_inwc"].to_list()


def within(generator: np.random.Generator, half_width: float) -> NDArray[np.float64]:
    """DRAWS values, each equally likely within plus or minus the half-width."""
    return generator.uniform(-half_width, half_width, DRAWS)


def shown(value: NDArray[np.float64], step: float) -> NDArray[np.float64]:
    """What a display of this step shows."""
    return np.round(value / step) * step


def gains(generator: np.random.Generator, shared: float) -> NDArray[np.float64]:
    """Two columns, uniform on -1..1 and correlated by `shared` (a normal copula: 2 sin(pi r / 6), Pearson 1907)."""
    r = 2 * np.sin(np.pi * shared / 6)
    normal = generator.multivariate_normal([0, 0], [[1, r], [r, 1]], DRAWS)
    return 2 * stats.norm.cdf(normal) - 1


def let_in(air: bool) -> float:
    """Half-width of what an open tube lets in, in in. w.c.: rho v^2 / 2 in SI units where the airflow is known."""
    if not air:
        return SETTINGS["straight_tube_half_width_inwc"]
    speed = SETTINGS["plenum_velocity_fpm"] * 0.00508 * AIRFLOW_CFM / DESIGN_CFM
    return SETTINGS["straight_tube_velocity_share"] * 1.2013848 * DENSITY * speed**2 / 2 / 249.08891


def measured(number: int) -> NDArray[np.float64]:
    """What DRAWS measurements of one case say less what was there, in in. w.c.

    Truth and offset lie anywhere between two steps of the display.
    """
    read, (percent, floor, step, style), (*zeros, at_return, at_supply, probe, filter_drop, air) = CASES[
        number
    ]
    generator = np.random.default_rng(20261125 + number)
    gain = gains(generator, SETTINGS["port_correlation_dual"] if style == "dual_port" else 0.0)
    tesp = np.zeros(DRAWS)
    for side, (value, zero, place) in enumerate(zip(read, zeros, (at_return, at_supply), strict=True)):
        size = abs(value)
        truth = size + within(generator, step / 2)
        there = truth + gain[:, side] * max(percent / 100 * size, floor)
        if place == "near_turn":
            share, least = SETTINGS["near_turn_half_width_share"], SETTINGS["near_turn_half_width_min_inwc"]
            there = there + within(generator, max(share * size, least))
        if probe == "straight_tube":
            there = there + within(generator, let_in(air))
        if zero is None:
            offset, seen = within(generator, SETTINGS["zero_missing_half_width_inwc"]), np.zeros(DRAWS)
        else:
            # The offset drifts between zeroing and reading; the zero that is subtracted was shown in steps.
            at_zeroing = zero + within(generator, step / 2)
            offset = at_zeroing + within(generator, SETTINGS["zero_residual_share"] * abs(zero))
            seen = shown(at_zeroing, step)
        tesp += shown(there + offset, step) - seen - truth
    if filter_drop is not None:
        tesp += within(generator, max(percent / 100 * filter_drop, floor))
    return tesp


def test_a_hundred_cases_within_three_percent(by_sql) -> None:
    ratios = np.array([u / measured(i).std() for i, u in enumerate(by_sql)])
    assert len(ratios) == 100
    assert np.abs(ratios - 1).max() < 0.03
