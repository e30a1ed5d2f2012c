"""The fleet's checks asked around changed visits find what they find asked over everything; on crowded random visits,
where everything is near something else."""

from __future__ import annotations

import random
import re
from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from typing import Any

import polars as pl
import pytest
from polars.testing import assert_frame_equal

from pipeline.checks import Check, find_over_fleet
from pipeline.day.around import FLEET_CHECKS, ask_around_changes, put_in_findings, take_out_findings
from pipeline.day.counts import count_changed
from pipeline.day.touched import LOOKED_AT
from pipeline.scale.part import without_comments
from pipeline.settings import Settings
from pipeline.stages import COUNT_DIGITS
from pipeline.steps import run_steps
from pipeline.warehouse import Warehouse

TODAY = date(2026, 3, 31)
SETTINGS = Settings().with_values(
    {
        "zeros_unchanged_min_visits": 3,
        "zeros_unchanged_min_days": 2,
        "digits_min_readings": 40,
        "repeat_window_h": 10,
        "visits_apart_min": 45,
    },
    "the test",
)
SCHEMA = {
    "visit_id": pl.String,
    "site_id": pl.String,
    "equipment_id": pl.String,
    "technician_id": pl.String,
    "instrument_id": pl.String,
    "visited_at": pl.Datetime(time_zone="UTC"),
    "visited_on": pl.Date,
    "zeroed_at": pl.Datetime(time_zone="UTC"),
    "zero_return": pl.Float64,
    "zero_supply": pl.Float64,
    "return_static": pl.Float64,
    "supply_static": pl.Float64,
    "return_decimals": pl.Int8,
    "supply_decimals": pl.Int8,
    "pressure_unit": pl.String,
}
Row = dict[str, Any]


def some_visit(chance: random.Random, name: str) -> Row:
    """Within ten days around the turn of two quarters; the local day is that of any time zone."""
    at = datetime(2026, 3, 27, tzinfo=UTC) + timedelta(minutes=5 * chance.randrange(12 * 24 * 10))
    digit = chance.choice((0.005, 0.013))
    return {
        "visit_id": name,
        "site_id": chance.choice("abc"),
        "equipment_id": f"E{chance.randrange(60)}",
        "technician_id": chance.choice(("T1", "T2", "T3", "T4")),
        "instrument_id": chance.choice(("G1", "G2", None)),
        "visited_at": at,
        "visited_on": (at + timedelta(hours=chance.randrange(-15, 16))).date(),
        "zeroed_at": chance.choice((None, at - timedelta(minutes=5 * chance.randrange(60)))),
        "zero_return": chance.choice((0.001, 0.001, 0.001, None)),
        "zero_supply": 0.002,
        "return_static": -digit * chance.randrange(8, 10),
        "supply_static": digit * chance.randrange(8, 10),
        "return_decimals": 3,
        "supply_decimals": chance.choice((3, 3, 3, 2)),
        "pressure_unit": "inwc",
    }


@pytest.fixture
def warehouse() -> Iterator[Warehouse]:
    with Warehouse(":memory:", SETTINGS) as made:
        made.set_variable("today", TODAY, "DATE")
        made.execute(
            "CREATE TABLE instrument AS "
            "SELECT * FROM (VALUES ('G1', 0.001), ('G2', 0.001)) AS g(instrument_id, resolution_inwc)"
        )
        yield made


def findings(warehouse: Warehouse) -> pl.DataFrame:
    return warehouse.query("FROM finding ORDER BY ALL")


def find_over_everything(warehouse: Warehouse) -> None:
    run_steps(warehouse, COUNT_DIGITS)
    find_over_fleet(warehouse)
    warehouse.execute(
        "CREATE OR REPLACE TABLE visit_count AS SELECT DISTINCT 'day' AS counted_by, visited_on FROM visit"
    )


def store(warehouse: Warehouse, visits: dict[str, Row]) -> None:
    warehouse.store("visit", pl.DataFrame(list(visits.values()), schema=SCHEMA))


def change(chance: random.Random, visits: dict[str, Row]) -> list[Row]:
    """A few visits go, come, or change in one thing; all of these as they were and as they are."""
    moved = []
    for _ in range(chance.randrange(3, 9)):
        kind, name = chance.choice(("goes", "comes", "changes")), chance.choice(list(visits))
        new = some_visit(chance, f"{name}x")
        if kind == "comes":
            visits[new["visit_id"]] = new
            moved.append(new | {"times": 1})
            continue
        old = visits.pop(name)
        moved.append(old | {"times": -1})
        if kind == "changes":
            what = chance.sample(list(SCHEMA)[1:], 3)
            visits[name] = old | {column: new[column] for column in what}
            moved.append(visits[name] | {"times": 1})
    return moved


def test_around_changes_as_over_everything(warehouse: Warehouse) -> None:
    """Forty changes; each check must have found, lost and kept something meanwhile, or nothing was tried."""
    moved_checks: set[str] = set()
    kept_checks: set[str] = set()
    for seed in range(40):
        chance = random.Random(seed)
        visits = {row["visit_id"]: row for row in (some_visit(chance, f"V{n}") for n in range(250))}
        store(warehouse, visits)
        find_over_everything(warehouse)
        before = findings(warehouse)
        moved = change(chance, visits)
        store(warehouse, visits)
        changed = pl.DataFrame(moved, schema=SCHEMA | {"times": pl.Int32})
        warehouse.store(
            "changed_visit", changed.select("visit_id", *LOOKED_AT["visits"], "times"), temporary=True
        )
        warehouse.execute("CREATE OR REPLACE TEMP TABLE touched (equipment_id VARCHAR PRIMARY KEY)")
        warehouse.execute("CREATE OR REPLACE TEMP TABLE touched_visit (visit_id VARCHAR)")
        count_changed(warehouse)
        ask_around_changes(warehouse)
        warehouse.execute("CREATE OR REPLACE TEMP TABLE moved_visit AS SELECT DISTINCT visit_id FROM asked")
        take_out_findings(warehouse)
        put_in_findings(warehouse)
        found = findings(warehouse)
        touched = set(warehouse.query("FROM touched")["equipment_id"])
        find_over_everything(warehouse)
        now = findings(warehouse)
        assert_frame_equal(found, now)
        what = ["visit_id", "check_id", "consequence"]  # the words alone decide on nothing
        lost, new = before.join(now, on=what, how="anti"), now.join(before, on=what, how="anti")
        deciding = pl.concat([lost, new]).filter(pl.col("consequence") != "note")["visit_id"]
        assert touched == {visits[v]["equipment_id"] for v in deciding if v in visits}
        moved_checks |= set(lost["check_id"]) & set(new["check_id"])
        kept_checks |= set(before.join(now, on=what, how="semi")["check_id"])
    assert moved_checks == kept_checks == {check.check_id for check in FLEET_CHECKS}


@pytest.mark.parametrize("check", [c for c in FLEET_CHECKS if c.piece], ids=lambda c: c.check_id)
def test_a_check_with_a_piece_reads_visits_only(check: Check) -> None:
    """What else it read might change without any visit near by."""
    named = re.findall(r"\b(?:FROM|JOIN)\s+(\w+)", without_comments(check.sql))
    own = re.findall(r"(\w+) AS (?:NOT MATERIALIZED )?\(", check.sql)
    assert set(named) - set(own) == {"visit"}
