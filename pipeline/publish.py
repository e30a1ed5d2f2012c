"""Publication: everything that outsiders read, in a new file that is swapped into place at once.

A large one begins as a copy of the work file: what is packed there need not be packed once more; and of what the
publication before the last held, only what differs is written (`spare.py`). Readers open `fleet.duckdb` read-only and
keep what they opened; a run neither blocks them nor is blocked.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path

import polars as pl

from pipeline import __version__
from pipeline.catalog import table_entry
from pipeline.catalog.dictionary import comments, dictionary, macro_comments
from pipeline.change import make_site_change
from pipeline.durable import replace_durably
from pipeline.errors import StageError
from pipeline.load.inputs import TABLES
from pipeline.pseudonyms import selections, tables_of
from pipeline.spare import keep_as_spare, make_copy, spare_of
from pipeline.stages import RunOrder
from pipeline.warehouse import Warehouse, literal

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
    "visit_reading",
    "visit_segment",
    "visit_uncertainty",
    "visit_split_uncertainty",
    "visit_component",
    "part_allowance",
    "visit_count",
    "finding_count",
    "site_static",
    "equipment_static",
    "site_trend",
    "restriction_trend",
    "equipment_trend",
    "change_point",
    "site_priority",
    "site_what_if",
    "branch_static",
    "site_attention",
    "site_upkeep",
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
SMALL = 100_000_000  # bytes of a work file that is not copied: writing its tables anew is as quick and leaves no holes
# Views that stay views in a copy, and what they stand on; any other is made a table.
VIEWS = {
    **{table.cleaned: (table.staged, table.fates) for table in TABLES},
    "visit_static": ("staging.visit_computed", "staging.visit_measured", "staging.equipment_facts"),
    "visit_reading": ("staging.visit_measured",),
    "visit_segment": ("visit_static",),
    "visit_uncertainty": ("visit_static",),
    "visit_split_uncertainty": ("visit_static",),
    "part_allowance": ("staging.equipment_facts",),
    "visit_component": ("visit_static", "part_allowance"),
    "site_static": ("staging.unit_verdict",),
    "equipment_static": ("staging.equipment_verdict",),
    "site_trend": ("staging.unit_trend", "staging.trend_rate"),
    "restriction_trend": ("staging.unit_restriction", "staging.trend_rate"),
    "site_change": (
        "staging.site_differs",
        "staging.compared_since",
        "site_static",
        "equipment",
        "publication",
    ),
}


def publish(warehouse: Warehouse, order: RunOrder, *, only_touched: bool = False) -> None:
    """Write DIR/fleet.duckdb.new, make it durable, and put it in the place of DIR/fleet.duckdb.

    `only_touched`: of the last publication only equipment in `touched` may differ (change.py).
    """
    describe_run(warehouse, order)
    make_site_change(warehouse, order.published_file, only_touched=only_touched)
    names = describe_tables(warehouse)
    target = order.published_file
    new = target.with_name(target.name + ".new")
    for left in (new, new.with_name(new.name + ".wal")):  # by a run that was killed
        left.unlink(missing_ok=True)
    copies = not order.pseudonyms and _is_large(warehouse)
    if copies:
        copy_work_file(warehouse, new, spare_of(target))
    warehouse.execute(f"ATTACH {literal(new)} AS published")
    try:
        if copies:
            leave_only(warehouse, names)
        else:
            write_anew(warehouse, names, order)
        kinds = warehouse.relations("published")
        with warehouse.transaction():
            for statement in comments(kinds, names, "published"):
                warehouse.execute(statement)
        add_macros(warehouse, there=copies)
        warehouse.execute("CHECKPOINT published")
    finally:
        warehouse.execute("DETACH published")
    if copies:
        keep_as_spare(target)
    else:
        spare_of(target).unlink(missing_ok=True)
    replace_durably(new, target)


def _is_large(warehouse: Warehouse) -> bool:
    file = Path(warehouse.path)
    return file.exists() and file.stat().st_size >= SMALL


def copy_work_file(warehouse: Warehouse, new: Path, spare: Path) -> None:
    """Copy the work file as it stands. It is closed meanwhile: its lock would fall with any other handle's end."""
    warehouse.execute("CHECKPOINT")
    with warehouse.released():
        make_copy(Path(warehouse.path), new, spare)


def leave_only(warehouse: Warehouse, names: Sequence[str]) -> None:
    """Take out of the copy what is not published; views become tables, but for those of VIEWS."""
    there = warehouse.relations("published")
    made = [name for name in names if there[name] == "VIEW" and name not in VIEWS]
    behind = {table for view in VIEWS.keys() & set(names) for table in VIEWS[view]}
    with warehouse.transaction():
        warehouse.drop_all_but(set(names) - set(made) | behind, "published")
    warehouse.execute("CHECKPOINT published")  # so that what comes now is written where the others were
    with warehouse.transaction():
        for name in made:
            warehouse.execute(f'CREATE TABLE published."{name}" AS SELECT * FROM "{name}"')


def write_anew(warehouse: Warehouse, names: Sequence[str], order: RunOrder) -> None:
    """Write every table into an empty file: with pseudonyms no trace is left of what it was made from."""
    rows = {name: f'SELECT * FROM "{name}"' for name in names}
    if order.pseudonyms:
        rows = selections(warehouse, str(warehouse.scalar("SELECT current_database()")), order.into)
    with warehouse.transaction():
        for name in names:
            warehouse.execute(f'CREATE TABLE published."{name}" AS {rows[name]}')


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
                "offsets_before": [warehouse.scalar("SELECT visited_before FROM offset_bound")],
            },
            schema_overrides={"offsets_before": pl.Date},
        ),
    )


def describe_tables(warehouse: Warehouse) -> list[str]:
    """Make `dictionary` of the tables that this run publishes; return their names."""
    there = warehouse.tables()
    names = [name for name in PUBLISHED if name not in OPTIONAL or name in there]
    warehouse.store("dictionary", dictionary(names))
    hold_to_catalog(warehouse, names)
    return names


def hold_to_catalog(warehouse: Warehouse, names: Sequence[str]) -> None:
    """Raise StageError where a table has a column without a meaning, or lacks one that the catalog gives it."""
    columns = tables_of(warehouse, str(warehouse.scalar("SELECT current_database()")))
    for name in names:
        made, stated = set(columns.get(name, ())), {column.name for column in table_entry(name).columns}
        if made != stated:
            raise StageError(
                f"the table {name} and its entry in pipeline/catalog/tables differ: "
                f"only the table has {sorted(made - stated)}, only the entry {sorted(stated - made)}"
            )


def add_macros(warehouse: Warehouse, there: bool) -> None:
    """Put the macros into the published file, if a copy of the work file did not bring them, and say what they mean.

    An analyst's SQL can so use them in any DuckDB client.
    """
    home = warehouse.scalar("SELECT current_database()")
    warehouse.execute("USE published")
    try:
        if not there:
            warehouse.add_macros(over_others=False)
        with warehouse.transaction():
            for statement in macro_comments():
                warehouse.execute(statement)
    finally:
        warehouse.execute(f'USE "{home}"')
