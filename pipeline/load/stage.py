"""The load stage, step by step: find what is new, stage it, decide about every row, point at lines.

What does not belong here: reading one file (`staging.py`), deciding (`resolve.py`), a damaged work file (`rebuild.py`).
"""

from __future__ import annotations

import duckdb

from pipeline.errors import FleetStaticError, StageError
from pipeline.load import kept
from pipeline.load.inputs import TABLES
from pipeline.load.intake import forget_incoming, restore, take_in
from pipeline.load.mapping import read_mapping
from pipeline.load.pointing import point_at_lines
from pipeline.load.rebuild import is_damage, set_aside
from pipeline.load.resolve import resolve
from pipeline.load.telling import say_rejected
from pipeline.load.work_tables import drop_loads, prepare
from pipeline.stages import RunOrder
from pipeline.warehouse import Warehouse

MADE = ("load_count", "load_ledger", "rejected_row", "superseded_row", "gate_fact")


def load(warehouse: Warehouse, order: RunOrder) -> None:
    """Read what is new in the drops, keep what earlier runs loaded, and make the cleaned tables of all of it.

    Raises UsageError, a line a problem, where an input cannot be used at all; then nothing of this run is kept. What
    the gate has to judge stands in `gate_fact`. A damaged work file is made again from the kept copies.
    """
    try:
        _load(warehouse, order)
    except (StageError, duckdb.Error) as error:
        if not is_damage(error) or not order.work_file.exists():
            raise
        with warehouse.released():
            set_aside(order.work_file, order.say)
        _load(warehouse, order)


def _load(warehouse: Warehouse, order: RunOrder) -> None:
    mapping = read_mapping(order.mapping)
    prepare(warehouse)
    withdraw(warehouse, order)
    restore(warehouse, order)
    try:
        take_in(warehouse, order, mapping)
    except FleetStaticError:
        withdraw(warehouse, order)
        raise
    finally:
        forget_incoming(order.into)
    resolve(warehouse)
    point_at_lines(warehouse, order.into)
    for name in MADE:
        warehouse.run(f"load/{name}.sql")
    _assert_conserved(warehouse)
    say_rejected(warehouse, order.say)


def accept(warehouse: Warehouse, order: RunOrder) -> None:
    """The gate let this run pass: what it staged stays. The list of copies is written first, so it is never short."""
    loads = [kept.KeptLoad(*row) for row in warehouse.con.sql(f"{kept.LOADS} ORDER BY load_id").fetchall()]
    kept.write_list(order.into, loads)
    warehouse.execute("UPDATE load_file SET accepted = true WHERE NOT accepted")
    kept.forget_others(order.into, {x.kept for x in loads} | {x.mapping for x in loads})


def withdraw(warehouse: Warehouse, order: RunOrder) -> None:
    """Take out whatever was staged by a run that the gate did not let pass, or that died before."""
    drop_loads(warehouse, "NOT accepted")


def _assert_conserved(warehouse: Warehouse) -> None:
    """For every file, rows read = loaded + rejected + repeated; and the cleaned tables hold the loaded ones."""
    lost = warehouse.con.sql(
        "SELECT file, rows_read, rows_loaded, rows_rejected, rows_repeated FROM load_ledger "
        "WHERE rows_read <> rows_loaded + rows_rejected + rows_repeated"
    ).fetchall()
    if lost:
        raise StageError(f"rows are not conserved (file, read, loaded, rejected, repeated): {lost[:20]}")
    tables = " UNION ALL ".join(
        f"SELECT '{t.cleaned}' AS cleaned, (SELECT count(*) FROM {t.cleaned}) AS held, "
        f"(SELECT coalesce(sum(rows_loaded - rows_superseded), 0) FROM load_count WHERE table_name = '{t.name}') AS due"
        for t in TABLES
    )
    wrong = warehouse.con.sql(f"SELECT cleaned, held, due FROM ({tables}) WHERE held <> due").fetchall()
    if wrong:
        raise StageError(f"cleaned tables do not hold what the ledger counts (table, rows, counted): {wrong}")
