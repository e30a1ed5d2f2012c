"""The SQL macros against published figures (`published.py`, `published_statistics.py`)."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from pipeline.warehouse import Warehouse
from tests.truth.published import PHYSICS, STATUSES, Published
from tests.truth.published_statistics import STATISTICS

EVERYTHING = PHYSICS + STATISTICS


@pytest.fixture(scope="module")
def warehouse() -> Iterator[Warehouse]:
    with Warehouse() as opened:
        yield opened


@pytest.mark.parametrize("check", EVERYTHING, ids=lambda c: c.name)
def test_macro_gives_published_value(warehouse: Warehouse, check: Published) -> None:
    assert warehouse.scalar(f"SELECT {check.sql}") == pytest.approx(check.value, abs=check.tolerance, rel=0)


def test_every_check_value_states_its_source() -> None:
    for check in EVERYTHING:
        assert check.source, check.name
        assert check.status in STATUSES, check.name
        assert check.tolerance >= 0, check.name


def test_names_of_check_values_are_unique() -> None:
    names = [check.name for check in EVERYTHING]
    assert sorted(names) == sorted(set(names))


def test_an_inch_of_water_is_not_1250_pascals(warehouse: Warehouse) -> None:
    # printed so in a state code's archive (WAC 51-11R-40552, footnote, 2022), about five times too much
    assert abs(warehouse.scalar("SELECT inwc_to_pa(1)") - 1250) > 1000


def excess_parts(warehouse: Warehouse, p: float, b: float, airflow_ratio: float) -> tuple[float, float]:
    """(restriction, airflow setting) of one side."""
    split = f"SELECT excess_restriction({p}, {b}, {airflow_ratio}), excess_airflow({p}, {b}, {airflow_ratio})"
    restriction, airflow = warehouse.con.sql(split).fetchall()[0]
    return restriction, airflow


def test_too_much_airflow_raises_both_sides_a_restriction_its_own(warehouse: Warehouse) -> None:
    # common practice, no source
    for budget in (0.20, 0.30):
        fast = excess_parts(warehouse, budget * 1.2**2, budget, 1.2)
        assert fast == (pytest.approx(0, abs=1e-12), pytest.approx(budget * 0.44))
    assert excess_parts(warehouse, 0.40, 0.25, 1) == (pytest.approx(0.15), pytest.approx(0, abs=1e-12))
    assert excess_parts(warehouse, 0.25, 0.25, 1) == (
        pytest.approx(0, abs=1e-12),
        pytest.approx(0, abs=1e-12),
    )


def test_heating_and_cooling_totals_differ_where_the_fan_speed_differs(warehouse: Warehouse) -> None:
    # common practice, no source: the same duct, a lower tap
    cooling = warehouse.scalar("SELECT duct_curve_pressure(0.60, 1200, 1200, 2)")
    heating = warehouse.scalar("SELECT duct_curve_pressure(0.60, 1200, 900, 2)")
    assert cooling - heating == pytest.approx(0.60 * (1 - 0.75**2))
