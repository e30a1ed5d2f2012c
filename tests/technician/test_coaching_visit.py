"""The visits behind the coaching findings: complete, of people with enough visits, and beside what others read."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import polars as pl
import pytest

from pipeline.settings import Settings
from pipeline.warehouse import Warehouse
from tests.conftest import Query, query_of


@pytest.fixture(scope="module")
def ask(small_file: Path) -> Query:
    return query_of(small_file)


def test_every_visit_of_a_practice_above_the_fleet_is_there(ask: Query) -> None:
    named = ask(
        "SELECT technician_id, check_id, n_found FROM practice_rate WHERE practice_state = 'above_fleet'"
    )
    assert named.height > 0
    shown = (
        ask("SELECT * FROM coaching_visit")
        .group_by("technician_id", pl.col("finding").alias("check_id"))
        .agg(pl.col("visit_id").n_unique().alias("n_shown"), pl.len().alias("n_rows"))
    )
    both = named.join(shown, on=["technician_id", "check_id"], how="left")
    assert (both["n_found"] == both["n_shown"]).all()
    assert (both["n_rows"] == both["n_shown"]).all()


def test_skippers_are_there_with_their_visits(ask: Query) -> None:
    skippers = ask("SELECT technician_id FROM technician_zeroing WHERE zeroing_state = 'skips_zero'")
    shown = ask("SELECT DISTINCT technician_id FROM coaching_visit WHERE finding = 'zero_not_recorded'")
    assert skippers.height > 0
    assert set(skippers["technician_id"]) <= set(shown["technician_id"])


def test_nobody_is_named_on_few_visits_or_without_a_finding(ask: Query) -> None:
    named = ask(
        "SELECT DISTINCT c.technician_id, z.n_visits, z.zeroing_state, z.offset_doubtful, "
        "EXISTS (FROM practice_rate p WHERE p.technician_id = c.technician_id "
        "AND p.practice_state = 'above_fleet') AS above FROM coaching_visit c "
        "LEFT JOIN technician_zeroing z USING (technician_id)"
    )
    assert (named["n_visits"] >= 20).all()
    reason = (pl.col("zeroing_state") == "skips_zero") | pl.col("offset_doubtful") | pl.col("above")
    assert named.select(reason.all()).item()


def test_a_doubtful_zero_stands_beside_what_others_read(ask: Query) -> None:
    """Computed again in Polars from the published visits: median of the others at the unit, mode and segment."""
    readings = ask(
        "SELECT v.* EXCLUDE (visited_at), s.segment FROM visit_static v JOIN visit_segment s USING (visit_id) "
        "WHERE v.like_new AND v.sides_known AND NOT s.on_work_day"
    )
    shown = ask("SELECT * FROM coaching_visit WHERE finding LIKE 'hidden_offset_%'")
    assert shown.height > 0
    place = ["equipment_id", "mode", "segment"]
    for row in shown.sample(40, seed=1).iter_rows(named=True):
        port = row["finding"].removeprefix("hidden_offset_")
        own = readings.filter(pl.col("visit_id") == row["visit_id"])
        others = readings.join(own.select(place), on=place).filter(
            pl.col("technician_id") != row["technician_id"]
        )
        assert row["look_at"].startswith(f"{port} {own[f'{port}_inwc'].item():.3f} in. w.c.")
        if others.height:
            median = others[f"{port}_inwc"].median()
            assert f"median {median:.3f} of {others.height};" in row["look_at"]
        else:
            assert "nobody else read" in row["look_at"]


# What coaching_told.sql reads of a doubtful zero, with nothing in it but the visits of a test.
PLANTED = """
    CREATE SCHEMA IF NOT EXISTS staging;
    CREATE TABLE offset_reading (place BIGINT, measurer BIGINT, return_inwc DOUBLE, supply_inwc DOUBLE);
    CREATE TABLE offset_measurer (measurer BIGINT, technician_id VARCHAR, instrument_id VARCHAR);
    CREATE TABLE coaching_picked (technician_id VARCHAR, finding VARCHAR, visit_row BIGINT, finding_row BIGINT);
    CREATE TABLE finding (visit_id VARCHAR, check_id VARCHAR, consequence VARCHAR, detail VARCHAR);
    CREATE TABLE check_catalog (check_id VARCHAR, title VARCHAR);
    CREATE TABLE equipment AS SELECT 'E' AS equipment_id, 'S' AS site_id;
    CREATE TABLE staging.visit_measured AS SELECT visit_id, 'E' AS equipment_id, DATE '2026-05-04' AS visited_on,
        'cooling' AS mode, 'G' AS instrument_id, 1.0 AS return_recorded, 1.0 AS supply_recorded, pressure_unit
        FROM visit ORDER BY visit_id;
    CREATE TABLE noticed_reading AS SELECT visit_id, zeros_kept_unit IS NOT NULL AS unit_repaired,
        coalesce(zeros_kept_unit, FALSE) AS zeros_kept_unit FROM visit WHERE visit_id <> 'mm';
    CREATE TABLE coaching_own AS SELECT 'T' AS technician_id, 'hidden_offset_return' AS finding, 'return' AS port,
        -0.053 AS offset_inwc, 1 AS place, rowid AS visit_row, -0.212 AS value_inwc FROM staging.visit_measured;
"""
TIME = "2026-05-04 14:00:00Z"
# By hand: 1 in. w.c. is 249.08891 Pa and 25.4 mm. 0.5 / 249.08891 = 0.00201; 0.1 / 249.08891 = 0.0004;
# -0.07 / 25.4 = -0.00276; 1.5 / 249.08891 = 0.00602. Where the unit of the readings was mended, the repair says whether
# the zeros followed (`zeros_kept_unit`; check_cases/unit_mismatch.toml).
ZEROS: list[tuple[str, dict[str, Any], str]] = [
    ("pa", {"pressure_unit": "pa", "zero_return": 0.5, "zero_supply": 0.1},
     "return 0.002 in. w.c. (recorded 0.5 Pa), supply 0.000 in. w.c. (recorded 0.1 Pa)"),
    ("mm", {"pressure_unit": "mmwc", "zero_return": -0.07, "zero_supply": 0.01},
     "return -0.003 in. w.c. (recorded -0.07 mm w.c.), supply 0.000 in. w.c. (recorded 0.01 mm w.c.)"),
    ("inwc", {"pressure_unit": "inwc", "zero_return": 0.002, "zero_supply": -0.0001},
     "return 0.002 in. w.c., supply 0.000 in. w.c."),
    ("one port", {"pressure_unit": "pa", "zero_supply": 0.5},
     "return not written, supply 0.002 in. w.c. (recorded 0.5 Pa)"),
    ("mended", {"pressure_unit": "inwc", "zero_return": 1.5, "zero_supply": 0.5, "zeros_kept_unit": False},
     "return 0.006 in. w.c. (recorded 1.5 in. w.c., read as Pa), "
     "supply 0.002 in. w.c. (recorded 0.5 in. w.c., read as Pa)"),
    ("mended, zeros not", {"pressure_unit": "pa", "zero_return": 1.0, "zero_supply": 0.5,
                           "zeros_kept_unit": True},
     "return 0.004 in. w.c. (recorded 1.0 Pa), supply 0.002 in. w.c. (recorded 0.5 Pa)"),
    ("no zero", {"pressure_unit": "pa", "zeroed_at": None}, "none"),
    ("time only", {"pressure_unit": "pa"}, "the time only"),
]  # fmt: skip


def test_zeros_on_record_are_told_in_inches_and_as_they_were_written() -> None:
    """Zeros in Pa or mm beside readings in in. w.c. would look like zeros hundreds of times too large."""
    rows = [{"visit_id": name, "zeroed_at": TIME, "zeros_kept_unit": None} | row for name, row, _ in ZEROS]
    with Warehouse(settings=Settings()) as warehouse:
        warehouse.store("visit", pl.DataFrame(rows, infer_schema_length=None))
        warehouse.con.execute(PLANTED)
        warehouse.run("technician/coaching_told.sql")
        told = dict(warehouse.query("SELECT visit_id, look_at FROM coaching_told").iter_rows())
    assert {name: text.partition("zeros on record: ")[2] for name, text in told.items()} == {
        name: words for name, _, words in ZEROS
    }


def test_zeros_on_record_are_those_of_the_visit(ask: Query) -> None:
    """Computed again in Python from the published visits, of every reading of a doubtful zero."""
    in_one_inch = {"inwc": ("in. w.c.", 1.0), "pa": ("Pa", 249.08891), "mmwc": ("mm w.c.", 25.4)}
    shown = ask(
        "SELECT c.look_at, v.zero_return, v.zero_supply, v.zeroed_at IS NOT NULL AS timed, v.pressure_unit FROM "
        "coaching_visit c JOIN visit v USING (visit_id) JOIN visit_static s USING (visit_id) "
        "WHERE c.finding LIKE 'hidden_offset_%' AND coalesce(s.repairs, '') NOT LIKE 'unit:%'"
    )
    assert set(shown["pressure_unit"]) == set(in_one_inch)
    for row in shown.iter_rows(named=True):
        unit, per_inch = in_one_inch[row["pressure_unit"]]
        ports = []
        for port in ("return", "supply"):
            zero = row[f"zero_{port}"]
            if zero is None:
                ports.append(f"{port} not written")
                continue
            inches = f"{zero / per_inch:.3f}".replace("-0.000", "0.000")
            ports.append(
                f"{port} {inches} in. w.c." + ("" if unit == "in. w.c." else f" (recorded {zero} {unit})")
            )
        words = ", ".join(ports)
        if row["zero_return"] is None and row["zero_supply"] is None:
            words = "the time only" if row["timed"] else "none"
        assert row["look_at"].endswith(f"zeros on record: {words}")
