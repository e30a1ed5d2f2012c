"""Which staged rows are to be decided: all, or those alone on which the files bear that came since all were decided.

What becomes of a row rests on the rows that share its key and on those that it names: a site, equipment, a technician.
So a day's drop asks of the keys that it brings, and of the keys of rows that name something that came, went or moved,
each with all its rows; every other row stays what it was. That is so where each load that was decided upon is still
there, at its place (`decided_load`). Else all rows are asked, and all of a table where its part would be large. (What
another program decided is gone by then: `prepare` keeps what was computed only where `pipeline/day/` finds it usable.)

The keys stay in the schema `changed` until the gate has judged. What does not belong here: deciding (`resolve.py`).
"""

from __future__ import annotations

from enum import Enum, auto

from pipeline.load.inputs import Table
from pipeline.load.work_tables import among
from pipeline.warehouse import Warehouse, differing

# The columns by which rows name rows of other tables, and what is seen of the row that is named.
NAMES = {
    "equipment": {"site_id": "sites"},
    "visits": {"site_id": "sites", "equipment_id": "equipment", "technician_id": "technicians"},
    "work": {"equipment_id": "equipment"},
}
SEEN = {
    "sites": ("site_id",),
    "equipment": ("equipment_id", "site_id"),
    "technicians": ("technician_id",),
}
MOST = 0.1  # of a table's rows; to ask all of them costs less than to pick out more


class Asked(Enum):
    """How much of a table is asked."""

    NOTHING = auto()
    PART = auto()
    ALL = auto()


def loads_in_place() -> str:
    """Every load with all that decides which rows it holds, how they are ranked, and what numbers they bear."""
    return (
        "SELECT f.load_id, f.file, f.folder, f.file_sha256, f.table_name, f.mapping_sha256, p.first_row, p.rows_staged "
        "FROM load_file AS f INNER JOIN load_place AS p USING (load_id)"
    )


def keys_of(table: Table) -> str:
    """The table of the keys of which was asked; it is there where not all of them were."""
    return f"changed.{table.cleaned}_key"


def forget_changes(warehouse: Warehouse) -> None:
    """Nobody asks any more which keys were asked."""
    warehouse.execute("DROP SCHEMA IF EXISTS changed CASCADE")


class Question:
    """What is asked, table by table in the order of TABLES; `asked_<table>` holds the rows, each with its `row_id`."""

    def __init__(self, warehouse: Warehouse) -> None:
        """From here on nothing counts as decided, until `answered`."""
        self.warehouse = warehouse
        self._came = self._loads_that_came()
        self._moved: set[str] = set()  # tables of which rows came, went or moved
        forget_changes(warehouse)
        warehouse.execute("DROP TABLE IF EXISTS decided_load")
        if self._came is not None:
            warehouse.execute("CREATE SCHEMA changed")

    def answered(self) -> None:
        """All is decided."""
        self.warehouse.execute(f"CREATE OR REPLACE TABLE decided_load AS {loads_in_place()}")

    def _loads_that_came(self) -> dict[str, list[int]] | None:
        """By table; None where nothing decided before can be built on."""
        if "decided_load" not in self.warehouse.tables():
            return None
        if self.warehouse.scalar(f"SELECT count(*) FROM (FROM decided_load EXCEPT ({loads_in_place()}))"):
            return None
        came: dict[str, list[int]] = {}
        new = "SELECT table_name, load_id FROM load_file ANTI JOIN decided_load USING (load_id) ORDER BY ALL"
        for name, load_id in self.warehouse.con.sql(new).fetchall():
            came.setdefault(name, []).append(load_id)
        return came

    def ask(self, table: Table) -> Asked:
        """Make `asked_<table>`, a temporary table or view: of rows that can be understood those that are asked."""
        rows = f"SELECT s.rowid AS row_id, s.* FROM {table.staged} AS s"
        if self._came is not None:
            n = self._find_keys(table, self._came.get(table.name, []))
            if n <= MOST * self.warehouse.scalar(f"SELECT count(*) FROM {table.staged}"):
                if not n:
                    return Asked.NOTHING
                self._look(table, "before")
                self.warehouse.execute(
                    f"CREATE OR REPLACE TEMP TABLE asked_{table.name} AS {rows} "
                    f"SEMI JOIN {keys_of(table)} AS k USING ({', '.join(table.key)}) WHERE s.wrong IS NULL"
                )
                return Asked.PART
            self.warehouse.execute(f"DROP TABLE {keys_of(table)}")
            self._look(table, "before")
        self.warehouse.execute(
            f"CREATE OR REPLACE TEMP VIEW asked_{table.name} AS {rows} WHERE s.wrong IS NULL"
        )
        return Asked.ALL

    def settle(self, table: Table, asked: Asked) -> None:
        """The rows are decided and the cleaned table is made: what is seen of it that was not seen before?"""
        self.warehouse.execute(f"DROP {'TABLE' if asked is Asked.PART else 'VIEW'} asked_{table.name}")
        if self._came is None or table.name not in SEEN:
            return
        self._look(table, "now")
        self.warehouse.execute(
            f"CREATE OR REPLACE TEMP TABLE moved_{table.name} AS SELECT DISTINCT {SEEN[table.name][0]} "
            f"FROM ({differing('FROM seen_before', 'FROM seen_now')})"
        )
        if self.warehouse.scalar(f"SELECT count(*) FROM moved_{table.name}"):
            self._moved.add(table.name)

    def _find_keys(self, table: Table, came: list[int]) -> int:
        """Make the table of the keys that are asked; how many they are."""
        key = ", ".join(table.key)
        ways = [among(came)] if came else []
        ways += [
            f"{column} IN (FROM moved_{named})"
            for column, named in NAMES.get(table.name, {}).items()
            if named in self._moved
        ]
        found = " UNION ".join(
            f"SELECT {key} FROM {table.staged} WHERE wrong IS NULL AND {way}" for way in ways or ["false"]
        )
        self.warehouse.execute(f"CREATE TABLE {keys_of(table)} AS SELECT DISTINCT {key} FROM ({found})")
        return int(self.warehouse.scalar(f"SELECT count(*) FROM {keys_of(table)}"))

    def _look(self, table: Table, when: str) -> None:
        """Keep what is seen of the rows that are asked."""
        if table.name in SEEN:
            part = keys_of(table).removeprefix("changed.") in self.warehouse.tables()
            which = f"SEMI JOIN {keys_of(table)} USING ({', '.join(table.key)})" if part else ""
            # The cleaned table, a view, shows what came before it is decided.
            came = (self._came or {}).get(table.name, []) if when == "before" else []
            rows = f"SELECT s.* FROM {table.staged} AS s ANTI JOIN {table.fates} AS f ON f.row_id = s.rowid "
            rows += f"WHERE s.wrong IS NULL AND NOT list_contains({came}::INTEGER[], s.load_id)"
            self.warehouse.execute(
                f"CREATE OR REPLACE TEMP TABLE seen_{when} AS "
                f"SELECT {', '.join(SEEN[table.name])} FROM ({rows}) {which}"
            )
