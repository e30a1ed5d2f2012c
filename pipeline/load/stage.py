"""The load stage, step by step: find what is new, stage it, decide about every row, point at lines.

What does not belong here: reading one file (`staging.py`), deciding (`resolve.py`), a damaged work file (`rebuild.py`).
"""

from __future__ import annotations

import duckdb

from pipeline.errors import FleetStaticError, StageError
from pipeline.load.asked import forget_changes
from pipeline.load.inputs import BY_NAME, TABLES
from pipeline.load.intake import Held, bring_held, forget_held, keep_lists, restore, take_in
from pipeline.load.kept import forget_incoming
from pipeline.load.mapping import read_mapping
from pipeline.load.mended import find_mended
from pipeline.load.mixed import say_mixed
from pipeline.load.other_units import say_other_units
from pipeline.load.pointing import point_at_lines
from pipeline.load.rebuild import is_damage, set_aside
from pipeline.load.resolve import resolve
from pipeline.load.telling import say_rejected, say_since, say_superseded
from pipeline.load.unknown_ids import say_zeros, waited_for
from pipeline.load.work_tables import among, drop_loads, prepare
from pipeline.stages import RunOrder
from pipeline.warehouse import Warehouse

MADE = ("load_count", "load_ledger", "rejected_row", "superseded_row", "gate_fact")


def load(warehouse: Warehouse, order: RunOrder) -> None:
    """Read what is new in the drops, keep what earlier runs loaded, and make the cleaned tables of all of it.

    Raises UsageError, a line a problem, where an input cannot be used at all; then nothing of this run is kept. Files
    that lack a required column stand in `gate_fact`, for the gate. A damaged work file is made again from the copies.
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
    prepare(warehouse, order.keeps_computed)
    withdraw(warehouse, order)
    restore(warehouse, order)
    held = bring_held(warehouse, order)
    try:
        given = take_in(warehouse, order, mapping)
    except FleetStaticError:
        withdraw(warehouse, order)
        raise
    finally:
        forget_incoming(order.into)
    waiting = [one for one in held if one.file_sha256 not in given]
    _take_places(warehouse, [one for one in held if one not in waiting])
    resolve(warehouse)
    _leave_waiting(warehouse, order, waiting)
    point_at_lines(warehouse, order.into)
    find_mended(warehouse)
    for name in MADE:
        warehouse.run(f"load/{name}.sql")
    _assert_conserved(warehouse)
    say_rejected(warehouse, order.say)
    say_superseded(warehouse, order.say)
    say_mixed(warehouse, order.say)
    say_other_units(warehouse, order.say)
    say_zeros(warehouse, order.say)
    say_since(warehouse, order)


def accept(warehouse: Warehouse, order: RunOrder) -> None:
    """The gate let this run pass: what it staged stays. The list of copies is written first, so it is never short."""
    keep_lists(warehouse, order.into, accepted=True)
    warehouse.execute("UPDATE load_file SET accepted = true WHERE NOT accepted")
    forget_changes(warehouse)


def hold(warehouse: Warehouse, order: RunOrder) -> None:
    """Take out what this run staged, but keep its files: each later run tries whether what they refer to has come."""
    keep_lists(warehouse, order.into, accepted=False)
    withdraw(warehouse, order)


def only_waits(warehouse: Warehouse) -> bool:
    """Could more files alone mend what the gate has against this run? The readable rows then only lack their keys."""
    warehouse.run("load/load_count.sql")
    warehouse.run("load/beyond_waiting.sql")
    return not warehouse.scalar("SELECT count(*) FROM beyond_waiting WHERE NOT mendable")


def _take_places(warehouse: Warehouse, held: list[Held]) -> bool:
    """Take out the half-written loads of which these files are the whole; were there any?"""
    replaced = [load_id for one in held for load_id in one.replaces]
    if replaced:
        drop_loads(warehouse, among(replaced))
    return bool(replaced)


def _leave_waiting(warehouse: Warehouse, order: RunOrder, held: list[Held]) -> None:
    """Files held by an earlier run come in once their rows find their keys; until then they stay out and are named."""
    mended = [one for one in held if _is_mended(warehouse, one)]
    if mended:
        named = ", ".join(forget_held(warehouse, order.into, mended))
        order.say(f"{len(mended)} files of earlier runs wait no more, later ones brought their rows: {named}")
        drop_loads(warehouse, among(one.load_id for one in mended))
        resolve(warehouse)
        held = [one for one in held if one not in mended]
    if not held:
        return
    warehouse.run("load/load_count.sql")
    warehouse.run("load/beyond_waiting.sql")
    which = among(one.load_id for one in held)
    names = ", ".join(
        r[0]
        for r in warehouse.con.sql(
            f"SELECT file FROM load_file WHERE {which} ORDER BY load_id LIMIT 5"
        ).fetchall()
    )
    if not warehouse.scalar("SELECT count(*) FROM beyond_waiting"):
        order.say(f"{len(held)} files that waited are loaded now: {names}")
        if _take_places(warehouse, held):
            resolve(warehouse)
        return
    lacking = waited_for(warehouse, (one.load_id for one in held))
    named = f"; no table has {lacking}" if lacking else ""
    order.say(f"{len(held)} files of earlier runs still wait for rows that they refer to: {names}{named}")
    drop_loads(warehouse, which)
    resolve(warehouse)


def _is_mended(warehouse: Warehouse, one: Held) -> bool:
    """Has every readable row of a held file come in a file that was accepted after it, and found what it names?"""
    name = warehouse.scalar(f"SELECT table_name FROM load_file WHERE load_id = {one.load_id}")
    table = BY_NAME[str(name)]
    key = ", ".join(table.key)
    later = (
        "SELECT b.load_id FROM load_file AS a, load_file AS b "
        f"WHERE a.load_id = {one.load_id} AND b.accepted AND b.loaded_at > a.loaded_at"
    )
    came = (
        f"SELECT {key} FROM {table.staged} WHERE load_id IN ({later}) AND wrong IS NULL "
        f"AND rowid NOT IN (SELECT row_id FROM {table.fates} WHERE fate = 'rejected')"
    )
    rows = f"SELECT {key} FROM {table.staged} WHERE load_id = {one.load_id} AND wrong IS NULL"
    some, missing = (f"EXISTS ({rows})", f"EXISTS ({rows} EXCEPT {came})")
    return bool(warehouse.scalar(f"SELECT {some} AND NOT {missing}"))


def withdraw(warehouse: Warehouse, order: RunOrder) -> None:
    """Take out whatever was staged by a run that the gate did not let pass, or that died before."""
    drop_loads(warehouse, "NOT accepted")
    forget_changes(warehouse)


def _assert_conserved(warehouse: Warehouse) -> None:
    """For every file, rows read = loaded + rejected + repeated, and its rows stand where they are looked for; and the
    cleaned tables hold the loaded ones."""
    lost = warehouse.con.sql(
        "SELECT file, rows_read, rows_loaded, rows_rejected, rows_repeated FROM load_ledger "
        "WHERE rows_read <> rows_loaded + rows_rejected + rows_repeated"
    ).fetchall()
    if lost:
        raise StageError(f"rows are not conserved (file, read, loaded, rejected, repeated): {lost[:20]}")
    astray = [
        row
        for t in TABLES
        for row in warehouse.con.sql(
            f"SELECT p.load_id, p.first_row, p.rows_staged FROM load_place AS p LEFT JOIN {t.staged} AS s "
            f"ON s.rowid = p.first_row WHERE p.table_name = '{t.name}' AND p.rows_staged > 0 "
            "AND s.load_id IS DISTINCT FROM p.load_id"
        ).fetchall()
    ]
    if astray:
        raise StageError(f"rows do not stand load after load (load, first, rows): {astray[:20]}")
    tables = " UNION ALL ".join(
        f"SELECT '{t.cleaned}' AS cleaned, (SELECT count(*) FROM {t.cleaned}) AS held, "
        f"(SELECT coalesce(sum(rows_loaded - rows_superseded), 0) FROM load_count WHERE table_name = '{t.name}') AS due"
        for t in TABLES
    )
    wrong = warehouse.con.sql(f"SELECT cleaned, held, due FROM ({tables}) WHERE held <> due").fetchall()
    if wrong:
        raise StageError(f"cleaned tables do not hold what the ledger counts (table, rows, counted): {wrong}")
