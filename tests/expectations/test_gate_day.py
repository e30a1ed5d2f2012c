"""The gate after a day's drop: it refuses what it refuses when it asks about every row, and asks about few."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path

import pytest

from expectations.changed import ChangedRows
from expectations.contracts import loaded_rules
from expectations.gate import gate
from pipeline.errors import GateError
from pipeline.load import accept, load, withdraw
from pipeline.settings import Settings
from pipeline.stages import RunOrder
from pipeline.warehouse import Warehouse
from tests.conftest import FIELD_TODAY
from tests.expectations.test_gate import VISITS, visit

N = 100
HISTORY = {
    "sites.csv": ["site_id,branch,elevation_ft", *(f"S{i},North,200" for i in range(N))],
    "equipment.csv": [
        "equipment_id,site_id,equipment_kind,rated_tesp_inwc",
        *(f"E{i},S{i},furnace,0.5" for i in range(N)),
    ],
    "technicians.csv": ["technician_id", *(f"T{i}" for i in range(N))],
    "visits.csv": [VISITS, *(visit(i) for i in range(N))],
    "work.csv": [
        "work_id,equipment_id,done_on,work_kind",
        *(f"W{i},E{i},2026-01-05,other" for i in range(N)),
    ],
}
SITES, EQUIPMENT, WORK = (HISTORY[f"{name}.csv"][0] for name in ("sites", "equipment", "work"))
Files = dict[str, list[str]]


def write(folder: Path, files: Files) -> Path:
    folder.mkdir()
    for name, lines in files.items():
        (folder / name).write_text("\n".join(lines) + "\n")
    return folder


class Days:
    """Drops one after another into one DIR: each builds on what was computed before, or none does."""

    def __init__(self, into: Path, builds_on: bool) -> None:
        into.mkdir()
        self.into, self.builds_on = into, builds_on
        self.warehouse = Warehouse(into / "work.duckdb", Settings())
        self.narrowed: set[str] = set()  # tables of which the last drop's gate looked at few rows

    def judge(self, drop: Path, faults: Sequence[str] = ()) -> list[str]:
        """The lines of the refusal; none where the drop passes. `faults` are planted between the load and the gate."""
        order = RunOrder((drop,), self.into, FIELD_TODAY, keeps_computed=self.builds_on)
        load(self.warehouse, order)
        if faults:
            self._as_tables()
        for fault in faults:
            self.warehouse.execute(fault)
        asked = loaded_rules(ChangedRows(self.warehouse).suffice)
        self.narrowed = {r.table_name for r in asked if "FROM changed." in r.sql + (r.screen or "")}
        try:
            gate(self.warehouse)
        except GateError as error:
            withdraw(self.warehouse, order)
            return [line.strip() for line in str(error).splitlines()[1:]]
        accept(self.warehouse, order)
        return []

    def _as_tables(self) -> None:
        """A fault can be planted in a table only, and the cleaned tables are views."""
        for name in ("equipment", "work"):
            self.warehouse.execute(f"CREATE TABLE as_table AS FROM {name}")
            self.warehouse.execute(f"DROP VIEW {name}")
            self.warehouse.execute(f"ALTER TABLE as_table RENAME TO {name}")

    def results(self) -> list[tuple[object, ...]]:
        return self.warehouse.con.sql("SELECT * EXCLUDE (asked) FROM gate_result ORDER BY ALL").fetchall()


@pytest.fixture
def both(tmp_path: Path) -> Iterator[tuple[Days, Days]]:
    """Two DIRs with the history: in the first days build on it, in the second everything is asked each time."""
    first = write(tmp_path / "history", HISTORY)
    part, everything = Days(tmp_path / "part", True), Days(tmp_path / "all", False)
    assert part.judge(first) == everything.judge(first) == []
    yield part, everything
    part.warehouse.close()
    everything.warehouse.close()


def sites(*elevations: int) -> Files:
    """New sites, so many feet above the sea."""
    return {"sites_more.csv": [SITES, *(f"N{i}-{ft},North,{ft}" for i, ft in enumerate(elevations))]}


SEQUENCES: dict[str, list[tuple[Files, int]]] = {  # drops, each with the number of lines that refuse it
    "new visits": [({"visits_b.csv": [VISITS, visit(200), visit(7, supply="0.4")]}, 0)],
    "too many rejected": [
        ({"visits_b.csv": [VISITS, *(visit(200 + i, supply="x" if i < 5 else "0.3") for i in range(20))]}, 1),
        ({"visits_c.csv": [VISITS, *(visit(300 + i) for i in range(5))]}, 0),
    ],
    "unknown equipment": [
        ({"visits_b.csv": [VISITS, *(visit(200 + i, equipment="E-none") for i in range(5))]}, 1)
    ],
    "a file without its key": [({"sites_b.csv": ["site,branch", "S1,South"]}, 1)],
    "a unit that moves away from its visits": [({"equipment_b.csv": [EQUIPMENT, "E1,S2,furnace,0.5"]}, 0)],
    "a few sites too high, then more": [
        (sites(99_999, 99_998, 99_997, 99_996), 0),
        (sites(*range(90_000, 90_006)), 1),
        (sites(100, 200), 0),
        (sites(90_010, 90_011), 0),
    ],
}


@pytest.mark.parametrize("name", SEQUENCES)
def test_the_day_is_judged_as_everything_is(both: tuple[Days, Days], tmp_path: Path, name: str) -> None:
    part, everything = both
    for number, (files, n_lines) in enumerate(SEQUENCES[name]):
        drop = write(tmp_path / f"day{number}", files)
        lines = part.judge(drop)
        assert lines == everything.judge(drop)
        assert len(lines) == n_lines
        assert part.results() == everything.results()
        assert not everything.narrowed


FAULTS = {  # of a row with this number, and what is said of it
    "a key twice": ("INSERT INTO equipment SELECT * FROM equipment WHERE equipment_id = 'E{}'", "is unique"),
    "an empty column": ("UPDATE equipment SET equipment_kind = NULL WHERE equipment_id = 'E{}'", "is filled"),
    "another word": ("UPDATE equipment SET motor_kind = 'steam' WHERE equipment_id = 'E{}'", "is one of"),
    "an unknown site": ("UPDATE equipment SET site_id = 'none' WHERE equipment_id = 'E{}'", "known site"),
    "work on nothing": ("UPDATE work SET equipment_id = 'none' WHERE work_id = 'W{}'", "known equipment"),
}


@pytest.mark.parametrize("row", ["changed", "left alone"])
@pytest.mark.parametrize("name", FAULTS)
def test_a_fault_of_the_house_is_found_where_rows_changed(
    both: tuple[Days, Days], tmp_path: Path, name: str, row: str
) -> None:
    """And only there: what held before and cannot have changed is not asked again."""
    fault, said = FAULTS[name]
    part, everything = both
    drop = write(
        tmp_path / "day",
        {
            "equipment_b.csv": [EQUIPMENT, "E1,S1,fan_coil,0.4"],
            "work_b.csv": [WORK, "W1,E1,2026-01-06,other"],
            "visits_b.csv": [VISITS, visit(200)],
        },
    )
    planted = [fault.format(1 if row == "changed" else 2)]
    assert any(said in line for line in everything.judge(drop, planted))
    assert any(said in line for line in part.judge(drop, planted)) is (row == "changed")
    assert part.narrowed >= {"equipment", "work", "visit", "site", "technician"}
