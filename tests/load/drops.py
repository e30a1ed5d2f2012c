"""A small sound drop, and a way to load drops into one folder again and again: what the tests here share."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date
from pathlib import Path
from typing import Any

from pipeline.load import accept, load, withdraw
from pipeline.stages import RunOrder
from pipeline.warehouse import Warehouse

VISIT_COLUMNS = "visit_id,site_id,equipment_id,technician_id,visited_at,mode,return_static,supply_static"

SOUND: dict[str, str] = {
    "sites.csv": "site_id,branch\nS1,North\nS2,South\n",
    "equipment.csv": (
        "equipment_id,site_id,equipment_kind,rated_tesp_inwc\nE1,S1,furnace,0.5\nE2,S2,fan_coil,0.3\n"
    ),
    "technicians.csv": "technician_id\nT1\nT2\n",
    "visits.csv": (
        f"{VISIT_COLUMNS}\n"
        "V1,S1,E1,T1,2026-03-01T08:00:00-05:00,cooling,-0.22,0.31\n"
        "V2,S2,E2,T2,2026-03-02T08:00:00-05:00,heating,-0.15,0.15\n"
    ),
}

Files = dict[str, str | bytes]


def write_drop(folder: Path, files: Files) -> Path:
    """Write files into a new folder of that name."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, content in files.items():
        (folder / name).write_bytes(content.encode() if isinstance(content, str) else content)
    return folder


class Kept(Warehouse):
    """A work file in memory that survives its `with`: for tests that load very often."""

    def __exit__(self, *_: object) -> None:
        return None


@dataclass
class Store:
    """One DIR: `run` loads drops into it, `rows` asks what it holds. `said` are the messages of the last run, but for
    those about times without a UTC offset, which are `remarked`: few drops here write one.

    `builds_on`: each run builds on what the one before computed.
    """

    into: Path
    said: list[str] = field(default_factory=list)
    remarked: list[str] = field(default_factory=list)
    kept: Kept | None = None
    builds_on: bool = False

    def open(self) -> Warehouse:
        return self.kept or Warehouse(self.into / "work.duckdb")

    def order(self, *drops: Path, mapping: Path | None = None) -> RunOrder:
        self.into.mkdir(parents=True, exist_ok=True)
        return RunOrder(
            drops,
            self.into,
            date(2026, 11, 1),
            mapping,
            say=self._say,
            keeps_computed=self.builds_on,
        )

    def _say(self, message: str) -> None:
        (self.remarked if "have no UTC offset" in message else self.said).append(message)

    def run(self, *drops: Path, mapping: Path | None = None, passes: bool = True) -> None:
        """Load, and accept (or withdraw) as the gate would."""
        self.said.clear()
        self.remarked.clear()
        order = self.order(*drops, mapping=mapping)
        with self.open() as warehouse:
            load(warehouse, order)
            (accept if passes else withdraw)(warehouse, order)

    def rows(self, query: str) -> list[tuple[Any, ...]]:
        with self.open() as warehouse:
            return warehouse.con.sql(query).fetchall()

    def content(self) -> dict[str, list[tuple[Any, ...]]]:
        """Everything that this stage makes, without load times, in an order of its own."""
        tables = ("site", "equipment", "blower_table", "technician", "instrument", "visit", "work")
        made = ("rejected_row", "superseded_row")
        with self.open() as warehouse:
            content = {
                t: warehouse.con.sql(f"SELECT * FROM {t} ORDER BY ALL").fetchall() for t in tables + made
            }
            ledger = "SELECT * EXCLUDE (loaded_at) FROM load_ledger ORDER BY ALL"
            return content | {"load_ledger": warehouse.con.sql(ledger).fetchall()}
