"""Random hostile visits, many at a time: the SQL and the plain reference must find and mend the same."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from pipeline.stages import RunOrder, check_stage
from pipeline.warehouse import Warehouse
from tests.sql import rows
from tests.sql.rows import Row
from tests.truth import reference
from tests.truth.second_opinion import CONTRACT_CHECKS

# Magnitudes at and about every limit of the contract, in each unit, with the decimals that are written.
READINGS = (
    "0", "0.000", "0.001", "0.019", "0.02", "0.020", "0.0201", "0.021", "0.1", "0.22", "0.220", "0.310", "0.31",
    "0.5", "1.06", "2.49", "2.5", "2.500", "2.501", "2.6", "4.98", "4.99", "5", "5.1", "7.9", "54.8", "55",
    "63.5", "63.6", "77.2", "132", "622.7", "622.8", "700",
)  # fmt: skip
TOTALS = (
    "0.09", "0.3", "0.30", "0.5", "0.53", "0.530", "0.55", "0.5501", "0.556", "0.56", "1", "2", "3", "22.4",
    "27", "132", "132.0", "137.0", "137.1", "138", "700",
)  # fmt: skip
ZEROS = (
    "0", "0.001", "0.004", "0.02", "0.0201", "0.05", "1.0", "2.0", "4.98", "4.99", "5.1",
)  # fmt: skip
DROPS = (
    "0", "0.000", "0.05", "0.08", "0.22", "0.2201", "0.31", "0.311", "20.0", "54.8", "78",
)  # fmt: skip
UNITS = (
    rows.equipment(equipment_id="furnace", site_id="s1", installed_on="2026-05-12", retired_on="2026-06-29"),
    rows.equipment(
        equipment_id="furnace_of_coil", site_id="s2", coil_in_rating="true", filter_in_rating="true"
    ),
    rows.equipment(equipment_id="fan_coil", site_id="s3", equipment_kind="fan_coil"),
)
SITE_OF = {unit["equipment_id"]: unit["site_id"] for unit in UNITS}


def signed(magnitudes: tuple[str, ...]) -> st.SearchStrategy[str]:
    return st.tuples(st.sampled_from(["", "-"]), st.sampled_from(magnitudes)).map("".join)


def maybe(strategy: st.SearchStrategy[str]) -> st.SearchStrategy[str | None]:
    return st.none() | strategy


@st.composite
def instants(draw: st.DrawFn) -> str:
    """About midnight, the reference day, a day of installation and a change of the clock, in several zones."""
    day = draw(
        st.sampled_from(["2026-05-11", "2026-05-12", "2026-06-29", "2026-06-30", "2026-07-01", "2026-03-08"])
    )
    hour = draw(st.sampled_from(["00:00", "00:10", "01:30", "03:30", "10:00", "14:00", "14:01", "23:50"]))
    return f"{day}T{hour}:00{draw(st.sampled_from(['-05:00', '-05:00', '-06:00', '+10:00']))}"


@st.composite
def visits(draw: st.DrawFn) -> Row:
    at = draw(instants())
    minutes = draw(st.none() | st.sampled_from([-10, 0, 5, 30, 70, 239, 240, 241, 600]))
    zeroed = None if minutes is None else datetime.fromisoformat(at) - timedelta(minutes=minutes)
    unit = draw(st.sampled_from(sorted(SITE_OF)))
    r, s = draw(signed(READINGS)), draw(signed(READINGS))
    total = draw(maybe(signed(TOTALS)))
    if draw(st.booleans()):
        digits = draw(st.integers(0, 4))
        off = draw(st.sampled_from([0.0, 0.02, -0.02, 0.0201, 0.025]))
        total = (
            f"{draw(st.sampled_from([float(s) - float(r), abs(float(s)) + abs(float(r))])) + off:.{digits}f}"
        )
    return rows.visit(
        site_id=SITE_OF[unit],
        equipment_id=unit,
        technician_id=draw(st.sampled_from(["t1", "t2"])),
        visited_at=at,
        zeroed_at=None if zeroed is None else zeroed.isoformat(),
        zero_return=draw(maybe(signed(ZEROS))),
        zero_supply=draw(maybe(signed(ZEROS))),
        return_port=draw(maybe(st.sampled_from(["before_filter", "after_filter"]))),
        supply_port=draw(maybe(st.sampled_from(["before_coil", "after_coil"]))),
        return_static=r,
        supply_static=s,
        filter_drop=draw(maybe(signed(DROPS))),
        coil_drop=draw(maybe(signed(DROPS))),
        reported_tesp=total,
        pressure_unit=draw(st.sampled_from(["inwc", "inwc", "pa", "mmwc"])),
    )


@pytest.fixture(scope="module")
def warehouse() -> Iterator[Warehouse]:
    with Warehouse() as opened:
        yield opened


def typed(row: Row) -> Row:
    """The row as the reference takes it: numbers, dates and times in place of text."""
    numbers = [
        "return_static",
        "supply_static",
        "zero_return",
        "zero_supply",
        "filter_drop",
        "coil_drop",
        "reported_tesp",
    ]
    made: dict[str, Any] = {k: None if row.get(k) is None else float(row[k]) for k in numbers}
    for column in ("visited_at", "zeroed_at"):
        at = row.get(column)
        made[column] = None if at is None else datetime.fromisoformat(at).astimezone(UTC)
    made["visited_on"] = datetime.fromisoformat(row["visited_at"]).date()
    return {**row, **made}


EQUIPMENT = {
    unit["equipment_id"]: {
        "equipment_kind": unit["equipment_kind"],
        "filter_in_rating": unit["filter_in_rating"] == "true",
        "coil_in_rating": unit["coil_in_rating"] == "true",
        **{
            d: datetime.fromisoformat(unit[d]).date() if unit.get(d) else None
            for d in ("installed_on", "retired_on")
        },
    }
    for unit in UNITS
}


@pytest.mark.slow
@settings(max_examples=25, deadline=None, derandomize=True, suppress_health_check=list(HealthCheck))
@given(st.lists(visits(), min_size=20, max_size=60))
def test_hostile_visits_are_judged_as_the_reference_judges_them(
    warehouse: Warehouse, given_visits: list[Row]
) -> None:
    batch = [{**row, "visit_id": f"v{i:02d}"} for i, row in enumerate(given_visits)]
    rows.fill(
        warehouse,
        {
            "visits": batch,
            "equipment": UNITS,
            "sites": [{"site_id": s, "branch": "b"} for s in SITE_OF.values()],
        },
    )
    check_stage(warehouse, RunOrder((), Path(), rows.TODAY))
    found: dict[str, dict[str, str]] = {row["visit_id"]: {} for row in batch}
    for visit_id, check_id, consequence in warehouse.con.sql(
        "SELECT visit_id, check_id, consequence FROM finding"
    ).fetchall():
        if check_id in CONTRACT_CHECKS:
            found[visit_id][check_id] = consequence
    mended = {row["visit_id"]: row for row in warehouse.query("SELECT * FROM reading").iter_rows(named=True)}
    plain = [typed(row) for row in batch]
    for row in plain:
        others = [o for o in plain if o is not row and o["technician_id"] == row["technician_id"]]
        checked = reference.check_visit(row, EQUIPMENT[row["equipment_id"]], None, others, rows.TODAY)
        got = mended[row["visit_id"]]
        assert found[row["visit_id"]] == checked.findings, row
        assert got["return_inwc"] == pytest.approx(checked.return_inwc, abs=1e-9), row
        assert got["supply_inwc"] == pytest.approx(checked.supply_inwc, abs=1e-9), row
        assert got["tesp_inwc"] == pytest.approx(checked.tesp_inwc, abs=1e-9), row
