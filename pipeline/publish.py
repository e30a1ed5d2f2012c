"""Publication: everything that outsiders read, written to a new file and swapped into place at once.

Readers open `fleet.duckdb` read-only and keep what they opened; a run neither blocks them nor is blocked.
"""

from __future__ import annotations

import json
import os
from datetime import UTC, datetime
from pathlib import Path

import polars as pl

from pipeline import __version__
from pipeline.catalog.dictionary import comments, dictionary, macro_comments
from pipeline.change import make_site_change
from pipeline.pseudonyms import selections
from pipeline.stages import RunOrder
from pipeline.warehouse import SQL_DIR, Warehouse

# Published tables in the order in which a reader meets them. Internal tables stay in the work file.
PUBLISHED = (
    "publication",
    "setting",
    "load_ledger",
    "rejected_row",
    "superseded_row",
    "check_catalog",
    "check_run",
    "gate_result",
    "finding",
    "site",
    "equipment",
    "blower_table",
    "technician",
    "instrument",
    "visit",
    "work",
    "visit_static",
    "visit_segment",
    "visit_uncertainty",
    "visit_split_uncertainty",
    "visit_component",
    "site_static",
    "site_trend",
    "restriction_trend",
    "equipment_trend",
    "change_point",
    "site_priority",
    "site_what_if",
    "branch_static",
    "site_attention",
    "site_change",
    "technician_zeroing",
    "instrument_offset",
    "technician_practice",
    "practice_rate",
    "technician_training",
    "technician_month",
    "offset_follows",
    "instrument_drift",
    "coaching_visit",
    "work_effect",
    "work_follow_up",
    "dictionary",
)
OPTIONAL = {"check_run", "gate_result"}


def publish(warehouse: Warehouse, order: RunOrder) -> None:
    """Write DIR/fleet.duckdb.new, make it durable, and put it in the place of DIR/fleet.duckdb."""
    describe_run(warehouse, order)
    if "site_change" in PUBLISHED:
        make_site_change(warehouse, order.published_file)
    names = describe_tables(warehouse)
    rows = {name: f'SELECT * FROM "{name}"' for name in names}
    if order.pseudonyms:
        rows = selections(warehouse, str(warehouse.scalar("SELECT current_database()")), order.into)
    target = order.published_file
    new = target.with_name(target.name + ".new")
    new.unlink(missing_ok=True)
    warehouse.execute(f"ATTACH '{_quoted(new)}' AS published")
    try:
        with warehouse.transaction():
            for name in names:
                warehouse.execute(f'CREATE TABLE published."{name}" AS {rows[name]}')
            for statement in comments(names, "published"):
                warehouse.execute(statement)
        add_macros(warehouse)
        warehouse.execute("CHECKPOINT published")
    finally:
        warehouse.execute("DETACH published")
    replace_durably(new, target)


def describe_run(warehouse: Warehouse, order: RunOrder) -> None:
    """Make `publication` (one row) and `setting`."""
    settings = order.settings.rows()
    warehouse.store(
        "setting",
        pl.DataFrame(
            [(s.name, s.value, s.unit, s.source) for s in settings],
            schema={"name": pl.String, "value": pl.Float64, "unit": pl.String, "source": pl.String},
            orient="row",
        ),
    )
    warehouse.store(
        "publication",
        pl.DataFrame(
            {
                "today": [order.today],
                "version": [__version__],
                "published_at": [datetime.now(UTC)],
                "settings": [json.dumps({s.name: s.value for s in settings})],
                "pseudonyms": [order.pseudonyms],
            }
        ),
    )


def describe_tables(warehouse: Warehouse) -> list[str]:
    """Make `dictionary` of the tables that this run publishes; return their names."""
    there = warehouse.tables()
    names = [name for name in PUBLISHED if name not in OPTIONAL or name in there]
    warehouse.store("dictionary", dictionary(names))
    return names


def add_macros(warehouse: Warehouse) -> None:
    """Copy the macros into the published file, so that an analyst's SQL can use them in any DuckDB client."""
    home = warehouse.scalar("SELECT current_database()")
    warehouse.execute("USE published")
    try:
        for file in sorted((SQL_DIR / "macros").glob("*.sql")):
            warehouse.run(f"macros/{file.name}")
        with warehouse.transaction():
            for statement in macro_comments():
                warehouse.execute(statement)
    finally:
        warehouse.execute(f'USE "{home}"')


def replace_durably(new: Path, target: Path) -> None:
    """Atomic rename that survives a power cut: the file is synced before, its folder after."""
    _sync(new)
    os.replace(new, target)
    _sync(target.parent)


def _sync(path: Path) -> None:
    descriptor = os.open(path, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


def _quoted(path: Path) -> str:
    return str(path).replace("'", "''")
