"""The counts of visits and findings brought up to date, against all counted anew."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest

from pipeline.checks import all_checks
from pipeline.day.counts import COUNTS, count_moved, find_moved_rows, take_back
from pipeline.technician.stage import count_all
from pipeline.warehouse import Warehouse, literal
from tests.conftest import FIELD_TODAY

FLEET_CHECK = next(check.check_id for check in all_checks() if check.scope == "fleet")
COUNTED = (*COUNTS, "technician_month", "training_count")
OTHERS = ("touched", "touched_visit", "asked")
Rows = dict[str, list[tuple[object, ...]]]


@pytest.fixture
def warehouse(small_file: Path, tmp_path: Path) -> Iterator[Warehouse]:
    """A copy of the small fleet's work file, and three pieces of equipment whose visits are touched."""
    work = shutil.copyfile(small_file.with_name("work.duckdb"), tmp_path / "work.duckdb")
    with Warehouse(work) as opened:
        opened.set_variable("today", FIELD_TODAY, "DATE")
        opened.execute(
            "CREATE TEMP TABLE touched AS SELECT DISTINCT equipment_id FROM staging.visit_measured "
            "ORDER BY equipment_id LIMIT 3"
        )
        opened.execute("CREATE TEMP TABLE asked (visit_id VARCHAR, check_id VARCHAR)")
        yield opened


def counted(warehouse: Warehouse) -> Rows:
    return {name: sorted(warehouse.con.sql(f"FROM {name}").fetchall(), key=str) for name in COUNTED}


def counted_anew(warehouse: Warehouse) -> Rows:
    """All counted; nothing temporary stays, as a run counts either all or what moved."""
    warehouse.drop_all_but(OTHERS, "temp")
    count_all(warehouse)
    rows = counted(warehouse)
    warehouse.drop_all_but(OTHERS, "temp")
    return rows


def moves(warehouse: Warehouse, *statements: str) -> None:
    """Run the statements, which change something of touched visits, or findings on visits that were asked again."""
    warehouse.execute(
        "CREATE TEMP TABLE touched_visit AS SELECT visit_id FROM staging.visit_measured SEMI JOIN touched "
        "USING (equipment_id)"
    )
    warehouse.execute(
        "INSERT INTO touched_visit SELECT visit_id || 'b' FROM touched_visit"
    )  # that will have come
    warehouse.execute(
        "CREATE TEMP TABLE moved_visit AS SELECT visit_id FROM touched_visit UNION SELECT visit_id FROM asked"
    )
    findings = (
        "CREATE OR REPLACE TEMP TABLE moved_finding AS FROM finding SEMI JOIN moved_visit USING (visit_id)"
    )
    warehouse.execute(findings)
    take_back(warehouse, FIELD_TODAY.isoformat())
    for statement in statements:
        warehouse.execute(statement)
    warehouse.execute(findings)
    find_moved_rows(warehouse)
    count_moved(warehouse)


def visits_of(warehouse: Warehouse, nth: int) -> str:
    """The visits to the n-th touched piece of equipment, as a condition."""
    ids = warehouse.con.sql("SELECT equipment_id FROM touched ORDER BY 1").fetchall()
    return f"visit_id IN (SELECT visit_id FROM staging.visit_measured WHERE equipment_id = {literal(ids[nth][0])})"


def changes(warehouse: Warehouse) -> list[str]:
    """A day's worth of changes to the touched equipment, and a fleet check that finds more of other equipment."""
    first, second, third = (visits_of(warehouse, n) for n in range(3))
    warehouse.execute(
        f"INSERT INTO asked SELECT visit_id, '{FLEET_CHECK}' FROM staging.visit_measured "
        f"ANTI JOIN (SELECT visit_id FROM finding WHERE check_id = '{FLEET_CHECK}') AS f USING (visit_id)"
    )
    return [
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
        "UPDATE staging.visit_measured SET branch = 'elsewhere' WHERE equipment_id IN (FROM touched)",
        "INSERT INTO finding SELECT visit_id, check_id, 'note', NULL FROM asked SEMI JOIN staging.visit_measured "
        "USING (visit_id)",
    ]


def test_the_counts_are_those_of_all_visits(warehouse: Warehouse) -> None:
    before = counted_anew(warehouse)
    moves(warehouse, *changes(warehouse))
    rows = counted(warehouse)
    assert rows == counted_anew(warehouse)
    assert all(set(rows[name]) != set(before[name]) for name in COUNTED)
    assert any("elsewhere" in row for row in rows["visit_count"])


def test_nothing_touched_changes_nothing(warehouse: Warehouse) -> None:
    warehouse.execute("DELETE FROM touched")
    before = counted_anew(warehouse)
    moves(warehouse)
    assert counted(warehouse) == before


def test_only_what_moved_is_looked_at(warehouse: Warehouse) -> None:
    """A value that this test spoils stays unseen where nothing is touched."""
    before = counted_anew(warehouse)
    moves(
        warehouse,
        "UPDATE staging.visit_measured SET set_aside_because = 'spoilt' WHERE equipment_id NOT IN (FROM touched)",
    )
    assert counted(warehouse) == before != counted_anew(warehouse)


def test_all_is_counted_where_somebody_was_trained(warehouse: Warehouse) -> None:
    before = counted_anew(warehouse)
    somebody = "technician_id = (SELECT min(technician_id) FROM technician_training)"
    moves(
        warehouse,
        f"UPDATE staging.technicians SET trained_on = trained_on + 30 WHERE {somebody}",
        "DELETE FROM staging.visit_measured WHERE visit_id IN (FROM touched_visit)",
    )
    rows = counted(warehouse)
    assert rows == counted_anew(warehouse)
    assert rows["training_count"] != before["training_count"]


def test_visits_dated_after_the_reference_day_count_for_no_training(warehouse: Warehouse) -> None:
    trained = warehouse.scalar("SELECT min(trained_on) FROM technician")
    today = warehouse.scalar(f"SELECT DATE '{trained}' + 60")
    warehouse.set_variable("today", today, "DATE")
    count_all(warehouse)
    told = warehouse.scalar("SELECT sum(n_after)::BIGINT FROM training_count")
    after = (
        "FROM visit_static AS v JOIN technician AS t USING (technician_id) WHERE v.visited_on > t.trained_on"
    )
    assert warehouse.scalar(f"SELECT count(*) {after} AND v.visited_on <= DATE '{today}'") == told > 0
    assert warehouse.scalar(f"SELECT count(*) {after}") > told
