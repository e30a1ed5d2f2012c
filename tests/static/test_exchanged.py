"""The uncertainty of exchanged readings, by hand.

The hoses were crossed. What the gauge's port does wrong (its zero, its share of the reading) goes with the reading;
what is said of the duct (a turn nearby, the place by filter or coil) stays with the duct.
"""

from __future__ import annotations

from math import sqrt
from pathlib import Path

import polars as pl
import pytest

from pipeline.stages import RunOrder, check_stage, static_stage
from pipeline.warehouse import Warehouse
from tests.sql import rows

PARTS = {
    "u_return_accuracy_inwc": 0.05 * 0.28 / sqrt(3),  # 5 % of the return, which stood under supply
    "u_supply_accuracy_inwc": 0.05 * 0.12 / sqrt(3),
    "u_return_zero_inwc": sqrt(
        0.001**2 / 12 + (0.25 * 0.008) ** 2 / 3
    ),  # the zero of the port that read the return
    "u_supply_zero_inwc": sqrt(0.001**2 / 12 + (0.25 * 0.002) ** 2 / 3),
    "u_return_location_inwc": 0.10 * 0.28 / sqrt(3),  # the turn is in the return duct
    "u_supply_location_inwc": 0.0,
    "u_filter_drop_inwc": 0.0,
    "u_coil_drop_inwc": 0.002 / sqrt(3),  # the floor: 5 % of 0.03 is less
}


@pytest.fixture(scope="module")
def visits() -> dict[str, dict[str, object]]:
    """One measurement written twice: ports crossed, and right. The supply port sat after the coil."""
    common = {"technician_id": "T1", "instrument_id": "M1", "site_id": "S1", "equipment_id": "E1"}
    place = {"return_location": "near_turn", "supply_port": "after_coil", "coil_drop": "0.03"}
    crossed = {
        "return_static": "0.12",
        "supply_static": "-0.28",
        "zero_return": "0.002",
        "zero_supply": "0.008",
    }
    right = {
        "return_static": "-0.28",
        "supply_static": "0.12",
        "zero_return": "0.008",
        "zero_supply": "0.002",
    }
    gauge = rows.instrument(instrument_id="M1", accuracy_pct_of_reading="5", accuracy_floor_inwc="0.002")
    warehouse = Warehouse()
    rows.fill(
        warehouse,
        {
            "sites": [{"site_id": "S1", "site_label": "One", "elevation_ft": "0"}],
            "technicians": [{"technician_id": "T1"}],
            "instruments": [gauge],
            "equipment": [rows.equipment(equipment_id="E1", site_id="S1")],
            "visits": [
                rows.visit(visit_id="crossed", **common, **place, **crossed),
                rows.visit(
                    visit_id="right", **common, **place, **right, visited_at="2026-05-14T14:00:00-05:00"
                ),
            ],
        },
    )
    order = RunOrder((), Path(), rows.TODAY)
    check_stage(warehouse, order)
    static_stage(warehouse, order)
    table: pl.DataFrame = warehouse.query("FROM visit_static")
    return {row["visit_id"]: row for row in table.iter_rows(named=True)}


def test_the_readings_are_exchanged_with_their_zeros(visits) -> None:
    row = visits["crossed"]
    assert row["valid"]
    assert "return and supply exchanged" in row["repairs"]
    assert row["return_inwc"] == pytest.approx(-0.28 - 0.008)
    assert row["supply_inwc"] == pytest.approx(0.12 - 0.002 + 0.03)


@pytest.mark.parametrize("visit", ["crossed", "right"])
def test_each_part_is_that_of_the_port_to_which_the_reading_belongs(visits, visit: str) -> None:
    for name, value in PARTS.items():
        assert visits[visit][name] == pytest.approx(value, abs=1e-9), name


@pytest.mark.parametrize("visit", ["crossed", "right"])
def test_the_whole_is_the_same_however_the_ports_were_written(visits, visit: str) -> None:
    of_both = (
        2 * 0.5 * PARTS["u_return_accuracy_inwc"] * PARTS["u_supply_accuracy_inwc"]
    )  # one gauge: half shared
    resolution = 2 * 0.001**2 / 12
    whole = sqrt(sum(u**2 for u in PARTS.values()) + of_both + resolution)
    assert visits[visit]["u_tesp_inwc"] == pytest.approx(whole, abs=1e-9)
