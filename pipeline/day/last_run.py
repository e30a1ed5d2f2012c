"""What a run leaves for the next one beside the work file, in DIR/last_run.duckdb, attached as `last`.

`last.main` holds what fleet steps ask of each piece of equipment and nobody publishes; `last.state` what the run rested
on. It counts only together with the work file: both bear the mark of the same run, given when the run was complete.
"""

from __future__ import annotations

import hashlib
import json
import uuid
from collections.abc import Sequence
from functools import cache
from pathlib import Path

import duckdb

from pipeline.load.asked import loads_in_place
from pipeline.load.inputs import TABLES
from pipeline.settings import Settings
from pipeline.stages import RunOrder
from pipeline.warehouse import SQL_DIR, Warehouse, literal

FILE = "last_run.duckdb"
MARK = "made_by_run"  # a table of the work file: one row, the run that made what the file holds
FITTED = (
    "measurer_sd",
    "level_scatter_inwc",
    "trend_scatter_inwc",
    "scatter_prior_df",
    "scatter_prior_variance",
    "trend_prior_df",
    "trend_prior_variance",
    "cause_variance",
)


def attach(warehouse: Warehouse, into: Path) -> None:
    """Open the file, made anew where it is missing or damaged."""
    file = into / FILE
    try:
        warehouse.con.execute(f"ATTACH {literal(file)} AS last")
    except duckdb.Error:
        forget(into)
        warehouse.execute(f"ATTACH {literal(file)} AS last")
    warehouse.execute("CREATE SCHEMA IF NOT EXISTS last.state")


def detach(warehouse: Warehouse) -> None:
    warehouse.execute("DETACH last")


def forget(into: Path) -> None:
    """Remove all that former runs left."""
    (into / FILE).unlink(missing_ok=True)
    (into / (FILE + ".wal")).unlink(missing_ok=True)


def is_usable(warehouse: Warehouse, order: RunOrder) -> bool:
    """Does the file belong to the work file, made by this very program with these settings, not after `today`?"""
    if MARK not in warehouse.tables() or not (order.into / FILE).exists():
        return False
    attach(warehouse, order.into)
    try:
        said = dict(warehouse.con.sql("SELECT key, value FROM last.state.said").fetchall())
    except duckdb.Error:
        return False
    finally:
        detach(warehouse)
    return bool(
        said.get("run") == warehouse.scalar(f"SELECT run FROM {MARK}")
        and said.get("program") == program(warehouse.settings)
        and said.get("today", "9999") <= order.today.isoformat()
    )


def forget_mark(warehouse: Warehouse) -> None:
    """From here on the work file is neither what the last run made nor what this one will make."""
    warehouse.execute(f"DROP TABLE IF EXISTS {MARK}")


def today_then(warehouse: Warehouse) -> str:
    """The last run's reference day."""
    return str(warehouse.scalar("SELECT value FROM last.state.said WHERE key = 'today'"))


def replaced_before(warehouse: Warehouse) -> float:
    """Of how much of the equipment rows were replaced since everything was computed, as a share, each time counted."""
    return float(warehouse.scalar("SELECT value FROM last.state.said WHERE key = 'replaced'"))


def remember(warehouse: Warehouse, order: RunOrder, replaced: float) -> None:
    """The run is complete: write what it rested on, and the mark into both files. `replaced`: see replaced_before."""
    run = uuid.uuid4().hex
    said = {
        "run": run,
        "program": program(warehouse.settings),
        "today": order.today.isoformat(),
        "replaced": str(replaced),
    }
    with warehouse.transaction():
        warehouse.execute("CREATE OR REPLACE TABLE last.state.said (key VARCHAR, value VARCHAR)")
        for key, value in said.items():
            warehouse.execute("INSERT INTO last.state.said VALUES (?, ?)", [key, value])
        warehouse.execute("CREATE OR REPLACE TABLE last.state.fitted (name VARCHAR, value DOUBLE)")
        for name in FITTED:
            value = warehouse.scalar(f"SELECT getvariable('{name}')")
            warehouse.execute("INSERT INTO last.state.fitted VALUES (?, ?)", [name, value])
        warehouse.execute(f"CREATE OR REPLACE TABLE last.state.load AS {loads()}")
        for table in TABLES:
            warehouse.execute(
                f"CREATE OR REPLACE TABLE last.state.fate_{table.name} AS "
                f"SELECT DISTINCT row_id FROM {table.fates}"
            )
    with warehouse.transaction():
        warehouse.execute(f"CREATE OR REPLACE TABLE {MARK} AS SELECT {literal(run)} AS run")


def loads() -> str:
    """The accepted loads, each with the place of its rows among the staged ones."""
    return f"FROM ({loads_in_place()}) SEMI JOIN (FROM load_file WHERE accepted) USING (load_id)"


def keep(warehouse: Warehouse, names: Sequence[str]) -> None:
    """Copy the tables that the next run's fleet steps ask for; unpacked, for packing would cost more than they do."""
    warehouse.execute("SET force_compression = 'uncompressed'")
    try:
        for name in names:
            warehouse.execute(f'CREATE OR REPLACE TABLE last.main."{name}" AS FROM "{name}"')
    finally:
        warehouse.execute("SET force_compression = 'auto'")


def keep_grounds(warehouse: Warehouse) -> None:
    """Copy by what corrections the sites were judged."""
    warehouse.execute("CREATE OR REPLACE TABLE last.state.correction AS FROM correction")


@cache
def _sources() -> str:
    """Changes with every line of the program."""
    files = sorted(SQL_DIR.rglob("*.sql")) + sorted(Path(__file__).resolve().parent.parent.rglob("*.py"))
    said = hashlib.sha256()
    for file in files:
        said.update(file.name.encode() + b"\0" + file.read_bytes() + b"\0")
    return said.hexdigest()


def program(settings: Settings) -> str:
    """What, beside the rows, decides the figures: the program, its engine, the settings."""
    values = json.dumps({s.name: s.value for s in settings.rows()}, sort_keys=True)
    return hashlib.sha256(f"{_sources()} {duckdb.__version__} {values}".encode()).hexdigest()
