"""The counts of visits and findings brought up to date, against all counted anew."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest

from pipeline.checks import all_checks
from pipeline.day.counts import COUNTED, count_again
from pipeline.stages import COUNT
from pipeline.steps import run_steps
from pipeline.warehouse import Warehouse, literal
from tests.conftest import FIELD_TODAY

FLEET_CHECK = next(check.check_id for check in all_checks() if check.scope == "fleet")
Rows = dict[str, list[tuple[object, ...]]]


@pytest.fixture
def warehouse(small_file: Path, tmp_path: Path) -> Iterator[Warehouse]:
    """A copy of the small fleet's work file beside its publication, and `touched` with three pieces of equipment."""
    shutil.copyfile(small_file, tmp_path / "fleet.duckdb")
    work = shutil.copyfile(small_file.with_name("work.duckdb"), tmp_path / "work.duckdb")
    with Warehouse(work) as opened:
        opened.set_variable("today", FIELD_TODAY, "DATE")
        opened.execute(
            "CREATE TEMP TABLE touched AS SELECT DISTINCT equipment_id FROM staging.visit_measured "
            "ORDER BY equipment_id LIMIT 3"
        )
        yield opened


@pytest.fixture
def published(tmp_path: Path) -> Path:
    return tmp_path / "fleet.duckdb"


def counted(warehouse: Warehouse) -> Rows:
    return {name: warehouse.con.sql(f"FROM {name}").fetchall() for name in COUNTED}


def counted_anew(warehouse: Warehouse) -> Rows:
    run_steps(warehouse, COUNT)
    return counted(warehouse)


def visits_of(warehouse: Warehouse, nth: int) -> str:
    """The visits to the n-th touched piece of equipment, as a condition."""
    ids = warehouse.con.sql("SELECT equipment_id FROM touched ORDER BY 1").fetchall()
    return f"visit_id IN (SELECT visit_id FROM staging.visit_measured WHERE equipment_id = {literal(ids[nth][0])})"


def change(warehouse: Warehouse) -> None:
    """A day's worth of changes to the touched equipment, and a fleet check that finds more of other equipment."""
    first, second, third = (visits_of(warehouse, n) for n in range(3))
    for statement in (
        f"UPDATE staging.visit_measured SET visited_on = visited_on + 1, repairs = 'mended' WHERE {first}",
        f"UPDATE finding SET consequence = 'note' WHERE {first}",
        f"UPDATE staging.visit_measured SET technician_id = 'nobody', set_aside_because = 'x' WHERE {second}",
        f"DELETE FROM finding WHERE {second}",
        f"DELETE FROM finding WHERE {third}",
        f"DELETE FROM staging.visit_measured WHERE {third}",
        "INSERT INTO staging.visit_measured BY NAME SELECT * REPLACE (visit_id || 'b' AS visit_id, "
        f"DATE '2024-02-29' AS visited_on) FROM staging.visit_measured WHERE {first}",
        "INSERT INTO finding SELECT visit_id || 'b', 'filter_dirty', 'not_like_new', NULL "
        f"FROM staging.visit_measured WHERE {first} AND visit_id NOT LIKE '%b'",
        "UPDATE site SET branch = 'elsewhere' WHERE site_id NOT IN "
        "(SELECT site_id FROM equipment ANTI JOIN touched USING (equipment_id))",
        f"INSERT INTO finding SELECT visit_id, '{FLEET_CHECK}', 'note', NULL FROM staging.visit_measured "
        f"ANTI JOIN (SELECT visit_id FROM finding WHERE check_id = '{FLEET_CHECK}') AS f USING (visit_id)",
    ):
        warehouse.execute(statement)


def test_the_counts_are_those_of_all_visits(warehouse: Warehouse, published: Path) -> None:
    before = counted(warehouse)
    change(warehouse)
    assert count_again(warehouse, published)
    rows = counted(warehouse)
    assert rows == counted_anew(warehouse)
    assert all(set(rows[name]) != set(before[name]) for name in COUNTED)
    assert any("elsewhere" in row for row in rows["visit_count"])


def test_nothing_touched_changes_nothing(warehouse: Warehouse, published: Path) -> None:
    warehouse.execute("DELETE FROM touched")
    before = counted(warehouse)
    assert count_again(warehouse, published)
    assert counted(warehouse) == before


def test_only_the_touched_are_looked_at(warehouse: Warehouse, published: Path) -> None:
    """A value that this test spoils stays unseen where nothing is touched."""
    before = counted(warehouse)
    warehouse.execute(
        "UPDATE staging.visit_measured SET set_aside_because = 'spoilt' WHERE equipment_id NOT IN (FROM touched)"
    )
    assert count_again(warehouse, published)
    assert counted(warehouse) == before != counted_anew(warehouse)


@pytest.mark.parametrize("other", ["missing", "damaged", "of another run", "with pseudonyms"])
def test_a_publication_that_does_not_fit_counts_everything(
    warehouse: Warehouse, published: Path, other: str
) -> None:
    change(warehouse)
    if other == "missing":
        published.unlink()
    elif other == "damaged":
        published.write_bytes(b"no database" * 1000)
    else:
        warehouse.execute(f"ATTACH {literal(published)} AS spoilt")
        warehouse.execute(
            "UPDATE spoilt.publication SET pseudonyms = true"
            if other == "with pseudonyms"
            else "UPDATE spoilt.publication SET published_at = published_at - INTERVAL 1 DAY"
        )
        warehouse.execute("DETACH spoilt")
    assert not count_again(warehouse, published)
    assert counted(warehouse) == counted_anew(warehouse)


def test_counts_that_do_not_add_up_are_made_anew(warehouse: Warehouse, published: Path) -> None:
    warehouse.execute("UPDATE visit_count SET n_visits = n_visits + 1 WHERE counted_by = 'day'")
    assert not count_again(warehouse, published)
    assert counted(warehouse) == counted_anew(warehouse)
