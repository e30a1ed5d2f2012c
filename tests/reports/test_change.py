"""What changed since the last publication, on two publications made by hand."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from pathlib import Path

import duckdb
import pytest

from pipeline.change import make_site_change
from pipeline.warehouse import Warehouse

Unit = tuple[str, str, str, float | None]  # equipment_id, static_state, problem_side, level
TABLES = """
    CREATE OR REPLACE TABLE load_ledger AS SELECT '{files}' AS file_sha256, 'visits' AS table_name;
    CREATE OR REPLACE TABLE publication AS SELECT DATE '{today}' AS today;
    CREATE OR REPLACE TABLE equipment (equipment_id VARCHAR, retired_on DATE);
    CREATE OR REPLACE TABLE site_static (site_id VARCHAR, equipment_id VARCHAR, mode VARCHAR, static_state VARCHAR,
      problem_side VARCHAR, level_inwc DOUBLE, level_lo_inwc DOUBLE, level_hi_inwc DOUBLE);
"""


@pytest.fixture
def warehouse() -> Iterator[Warehouse]:
    opened = Warehouse()
    yield opened
    opened.close()


def run(
    warehouse: Warehouse, file: Path, files: str, today: str, units: list[Unit], retired: str | None = None
) -> dict[str, tuple[object, ...]]:
    """One run: judge the units, compare, publish; the rows of site_change by unit."""
    warehouse.set_variable("today", date.fromisoformat(today), "DATE")
    for statement in TABLES.format(files=files, today=today).split(";")[:-1]:
        warehouse.execute(statement)
    for unit, state, side, level in units:
        warehouse.execute("INSERT INTO equipment VALUES (?, ?)", [unit, today if unit == retired else None])
        warehouse.execute(
            "INSERT INTO site_static VALUES ('S', ?, 'cooling', ?, ?, ?, ?, ?)",
            [unit, state, side, level, *((level - 0.02, level + 0.02) if level else (None, None))],
        )
    make_site_change(warehouse, file)
    rows = warehouse.con.sql(
        "SELECT equipment_id, change, was_state, state, was_level_inwc, level_inwc, since::VARCHAR FROM site_change"
    ).fetchall()
    assert len({row[0] for row in rows}) == len(rows)
    file.unlink(missing_ok=True)
    warehouse.execute(f"ATTACH '{file}' AS published")
    for table in ("load_ledger", "publication", "equipment", "site_static", "site_change"):
        warehouse.execute(f"CREATE TABLE published.{table} AS SELECT * FROM {table}")
    warehouse.execute("DETACH published")
    return {row[0]: row[1:] for row in rows}


BEFORE: list[Unit] = [
    ("duct", "chronic", "return", 0.70),
    ("mended", "chronic", "supply", 0.70),
    ("reworked", "chronic", "return", 0.70),
    ("loading", "uncertain", "return", 0.50),
    ("eased", "chronic", "return", 0.90),
    ("still", "within_rating", "none", 0.40),
    ("sold", "chronic", "return", 0.80),
    ("torn_out", "within_rating", "none", 0.30),
    ("edge", "within_rating", "none", 0.40),
]
AFTER: list[Unit] = [
    ("duct", "chronic", "return", 0.71),
    ("mended", "within_rating", "none", 0.40),
    ("reworked", "too_few_visits", "none", None),
    ("loading", "uncertain", "return", 0.56),
    ("eased", "chronic", "return", 0.80),
    ("still", "chronic", "return", 0.60),
    ("sold", "chronic", "return", 0.80),
    ("arrived", "within_rating", "none", 0.40),
    ("born_high", "chronic", "supply", 0.90),
    ("edge", "within_rating", "none", 0.43),
]
WANTED = {
    "duct": "same",
    "mended": "resolved",
    "reworked": "to_confirm",
    "loading": "worse",
    "eased": "better",
    "still": "new_chronic",
    "sold": "gone",
    "torn_out": "gone",
    "arrived": "first_seen",
    "born_high": "new_chronic",
    "edge": "same",  # by exactly the material amount: not beyond it
}


def test_a_first_publication_has_nothing_to_compare_with(warehouse: Warehouse, tmp_path: Path) -> None:
    assert run(warehouse, tmp_path / "fleet.duckdb", "a", "2026-03-31", BEFORE) == {}


def test_each_change_has_its_word(warehouse: Warehouse, tmp_path: Path) -> None:
    run(warehouse, tmp_path / "fleet.duckdb", "a", "2026-03-31", BEFORE)
    rows = run(warehouse, tmp_path / "fleet.duckdb", "b", "2026-04-30", AFTER, retired="sold")
    assert {unit: row[0] for unit, row in rows.items()} == WANTED
    assert {row[-1] for row in rows.values()} == {"2026-03-31"}
    assert rows["mended"][1:5] == ("chronic", "within_rating", 0.70, 0.40)
    assert rows["torn_out"][1:5] == ("within_rating", None, 0.30, None)


def test_the_same_files_again_keep_the_comparison(warehouse: Warehouse, tmp_path: Path) -> None:
    run(warehouse, tmp_path / "fleet.duckdb", "a", "2026-03-31", BEFORE)
    first = run(warehouse, tmp_path / "fleet.duckdb", "b", "2026-04-30", AFTER, retired="sold")
    assert run(warehouse, tmp_path / "fleet.duckdb", "b", "2026-04-30", AFTER, retired="sold") == first
    assert run(warehouse, tmp_path / "fleet.duckdb", "b", "2026-05-02", AFTER, retired="sold") == first
    third = run(warehouse, tmp_path / "fleet.duckdb", "c", "2026-05-31", AFTER, retired="sold")
    assert {unit: row[1:5] for unit, row in third.items()} == {
        unit: (state, state, level, level) for unit, state, _, level in AFTER if unit != "sold"
    }
    assert {(row[0], row[-1]) for row in third.values()} == {("same", "2026-05-02")}


def test_a_first_publication_again_is_still_the_first(warehouse: Warehouse, tmp_path: Path) -> None:
    for _ in range(2):
        assert run(warehouse, tmp_path / "fleet.duckdb", "a", "2026-03-31", BEFORE) == {}


@pytest.mark.parametrize("kind", ["damaged", "older"])
def test_a_file_that_cannot_be_compared_counts_as_none(
    warehouse: Warehouse, tmp_path: Path, kind: str
) -> None:
    file = tmp_path / "fleet.duckdb"
    if kind == "damaged":
        file.write_bytes(b"no database" * 1000)
    else:
        duckdb.connect(str(file)).execute("CREATE TABLE site (site_id VARCHAR)").close()
    assert run(warehouse, file, "a", "2026-03-31", BEFORE) == {}
