"""Readings that are corrected for an offset: airflow, fan power and causes follow the corrected statics, against the
plain reference of the contract (tests/truth/reference_airflow.py)."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import polars as pl
import pytest

from pipeline.warehouse import Warehouse
from tests.truth import reference

OFFSETS = (
    (-0.06, 0.05),
    (0.0, 0.12),
    (0.08, 0.0),
    (-0.35, 0.4),
)  # return, supply; the last leaves many tables
COLUMNS = (
    "airflow_cfm",
    "airflow_ratio",
    "power_w",
    "return_restriction_inwc",
    "supply_restriction_inwc",
    "airflow_setting_inwc",
)


def pairs_of(warehouse: Warehouse, n: int) -> pl.DataFrame:
    """The technicians with their instruments of most visits."""
    return warehouse.query(
        "SELECT technician_id, coalesce(instrument_id, '') AS instrument_id FROM visit_static "
        f"GROUP BY ALL ORDER BY count(*) DESC, technician_id, instrument_id LIMIT {n}"
    )


@pytest.fixture(scope="module")
def warehouse(small_file: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Warehouse]:
    """A fleet's work file with offsets laid on the measurers of most visits."""
    path = tmp_path_factory.mktemp("comparable") / "work.duckdb"
    shutil.copy(small_file.with_name("work.duckdb"), path)
    with Warehouse(path) as warehouse:
        pairs = pairs_of(warehouse, len(OFFSETS))
        laid = pl.DataFrame(OFFSETS, schema=["return_inwc", "supply_inwc"], orient="row")
        correction = pl.concat(
            [pairs, laid.with_columns(variance=pl.lit(1e-4), is_corrected=pl.lit(True))], how="horizontal"
        )
        untold = {"return_inwc": 0.0, "supply_inwc": 0.0, "variance": 4e-4, "is_corrected": False}
        fifth = pairs_of(warehouse, 5)[4:]
        laid_untold = pl.concat([fifth, pl.DataFrame([untold])], how="horizontal")
        correction = pl.concat([correction, laid_untold])
        warehouse.set_variable("measurer_sd", 0.01, "DOUBLE")
        warehouse.store("correction", correction, temporary=True)
        warehouse.run("site/comparable_visit.sql")
        yield warehouse


@pytest.fixture(scope="module")
def rows(warehouse: Warehouse) -> list[dict[str, Any]]:
    """What is made of each visit, found again by its unit and time, beside its id."""
    return warehouse.query(
        "SELECT c.*, v.visit_id FROM comparable_visit AS c "
        "INNER JOIN staging.visit_measured AS v ON c.unit_no = 2 * v.equipment_no + (v.mode = 'heating')::INTEGER "
        "AND c.at_year = epoch(v.visited_at) / 86400.0 / getvariable('days_per_year')"
    ).to_dicts()


def test_what_follows_from_a_corrected_reading_is_that_of_the_reference(
    warehouse: Warehouse, rows: list[dict[str, Any]]
) -> None:
    equipment = {e["equipment_id"]: e for e in warehouse.query("FROM equipment").to_dicts()}
    elevation = {s["site_id"]: s["elevation_ft"] or 0 for s in warehouse.query("FROM site").to_dicts()}
    visits = {v["visit_id"]: v for v in warehouse.query("FROM visit").to_dicts()}
    static = {v["visit_id"]: v for v in warehouse.query("FROM visit_static").to_dicts()}
    laid = {
        (c["technician_id"], c["instrument_id"]): c for c in warehouse.query("FROM correction").to_dicts()
    }
    table = warehouse.query("FROM blower_table").to_dicts()
    corrected = [row for row in rows if row["offset_corrected"]]
    for row in corrected:
        visit, read = visits[row["visit_id"]], static[row["visit_id"]]
        off = laid[visit["technician_id"], visit["instrument_id"] or ""]
        return_inwc = read["return_inwc"] - off["return_inwc"]
        supply_inwc = read["supply_inwc"] - off["supply_inwc"]
        own = equipment[visit["equipment_id"]]
        air = reference.visit_airflow(visit, supply_inwc - return_inwc, own, table, elevation[own["site_id"]])
        causes = reference.excess_parts(return_inwc, supply_inwc, reference.side_budgets(own), air.ratio)
        expected = (air.cfm, air.ratio, air.power_w, *causes)
        for name, value in zip(COLUMNS, expected, strict=True):
            assert row[name] == (value if value is None else pytest.approx(value, rel=1e-9)), (
                visit["visit_id"],
                name,
            )
        assert row["tesp_inwc"] == pytest.approx(supply_inwc - return_inwc, abs=1e-12)
    moved = [row for row in corrected if row["airflow_cfm"] != static[row["visit_id"]]["airflow_cfm"]]
    assert len(moved) > 50
    assert any(row["airflow_cfm"] is None for row in moved)  # beyond the table
    measured = [row for row in corrected if static[row["visit_id"]]["airflow_source"] == "measured"]
    assert measured
    assert all(row["airflow_cfm"] == static[row["visit_id"]]["airflow_cfm"] for row in measured)


def test_whoever_is_not_corrected_keeps_what_visit_static_says(
    warehouse: Warehouse, rows: list[dict[str, Any]]
) -> None:
    static = {v["visit_id"]: v for v in warehouse.query("FROM visit_static").to_dicts()}
    others = [row for row in rows if not row["offset_corrected"]]
    assert len(others) > 50
    for row in others:
        for name in ("tesp_inwc", "return_inwc", "supply_inwc", *COLUMNS):
            assert row[name] == static[row["visit_id"]][name], (row["visit_id"], name)


def test_no_offset_is_taken_off_readings_whose_sides_are_not_known(
    warehouse: Warehouse, rows: list[dict[str, Any]]
) -> None:
    """Exchanged hoses carry a port's offset to the other side, reversed signs do not: such readings are left out."""
    visits = warehouse.query(
        "SELECT v.visit_id, v.sides_known, coalesce(c.is_corrected, FALSE) AS corrected "
        "FROM staging.visit_measured AS v LEFT JOIN correction AS c ON v.technician_id = c.technician_id "
        "AND coalesce(v.instrument_id, '') = c.instrument_id WHERE v.like_new AND NOT v.on_work_day"
    )
    lost = visits.filter(~pl.col("sides_known") & pl.col("corrected"))["visit_id"].to_list()
    kept = visits.filter(~pl.col("sides_known") & ~pl.col("corrected"))["visit_id"].to_list()
    found = {row["visit_id"] for row in rows}
    assert lost
    assert kept
    assert found == set(visits["visit_id"]) - set(lost)


def test_the_level_as_found_takes_offsets_off_known_sides_alone() -> None:
    """A port 0.05 high on the return and 0.02 on the supply: known sides are corrected, others stay as they read."""
    correction = {"technician_id": "T", "instrument_id": "", "return_inwc": 0.05, "supply_inwc": 0.02}
    with Warehouse() as warehouse:
        warehouse.execute("CREATE SCHEMA IF NOT EXISTS staging")
        warehouse.execute(
            "CREATE TABLE staging.visit_measured AS SELECT unit AS equipment_no, unit = 1 AS sides_known, "
            "-0.20 AS return_inwc, 0.30 AS supply_inwc, 'T' AS technician_id, NULL::VARCHAR AS instrument_id, "
            "'cooling' AS mode, DATE '2026-01-05' AS visited_on, NULL::VARCHAR AS set_aside_because, "
            "TRUE AS since_last_work FROM (VALUES (1), (2)) AS u(unit)"
        )
        warehouse.store("correction", pl.DataFrame([correction]))
        warehouse.run("site/unit_seen.sql")
        found = dict(warehouse.query("SELECT equipment_no, as_found_level_inwc FROM unit_seen").iter_rows())
    assert found[1] == pytest.approx(0.50 + 0.05 - 0.02)
    assert found[2] == pytest.approx(0.50)


def test_an_offset_that_cannot_be_told_is_no_sure_nought(warehouse: Warehouse) -> None:
    """Readings stay as they are, but share what hands may be off; told hands share what sound ones differ by."""
    who = pairs_of(warehouse, 5).rows()
    of_hand = dict(
        warehouse.query(
            "SELECT DISTINCT v.technician_id || ' ' || coalesce(v.instrument_id, ''), (c.offset_corrected, "
            "c.measurer_variance) AS said FROM comparable_visit AS c INNER JOIN staging.visit_measured AS v "
            "ON c.unit_no = 2 * v.equipment_no + (v.mode = 'heating')::INTEGER "
            "AND c.at_year = epoch(v.visited_at) / 86400.0 / getvariable('days_per_year') "
            "AND hash(v.technician_id, coalesce(v.instrument_id, '')) = c.measurer"
        ).rows()
    )
    for hand, said in of_hand.items():
        told = tuple(said.values())
        if hand in {" ".join(pair) for pair in who[:4]}:
            assert told == (True, 1e-4)
        else:
            expected = 4e-4 if hand == " ".join(who[4]) else 1e-4
            assert told == (False, pytest.approx(expected))
    assert len(of_hand) > 5


def test_in_a_small_group_nothing_is_taken_off_and_the_spread_is_that_of_the_setting() -> None:
    """A told sound hand is left out, a told doubtful one corrected, one that cannot be told keeps its doubt."""
    rows = pl.DataFrame(
        [
            ("sound", "A", 0.002, 0.004, 0.001, 0.004, False, False),
            ("doubtful", "B", -0.03, 0.004, 0.001, 0.005, True, False),
            ("untold", None, None, None, None, None, False, False),
        ],
        schema=[
            "technician_id", "instrument_id", "return_offset_inwc", "return_offset_se", "supply_offset_inwc",
            "supply_offset_se", "return_doubtful", "supply_doubtful",
        ],
        orient="row",
    )  # fmt: skip
    with Warehouse() as warehouse:
        warehouse.store("instrument_offset", rows)
        warehouse.run("site/correction.sql")
        found = {row["technician_id"]: row for row in warehouse.query("FROM correction").to_dicts()}
        spread = warehouse.settings["measurer_sd_untold_inwc"]
    assert set(found) == {"doubtful", "untold"}
    assert found["doubtful"]["is_corrected"]
    assert (found["doubtful"]["return_inwc"], found["doubtful"]["supply_inwc"]) == (-0.03, 0)
    # The supply keeps what it may be off: its zero is the same hand's.
    assert found["doubtful"]["variance"] == pytest.approx(0.004**2 + 0.005**2 + 0.001**2)
    assert not found["untold"]["is_corrected"]
    assert (found["untold"]["return_inwc"], found["untold"]["supply_inwc"]) == (0, 0)
    assert found["untold"]["variance"] == pytest.approx(spread**2)
