"""The tables that the load stage keeps in the work file: made where missing, and rows taken out load by load.

What does not belong here: what is put in (`staging.py`), and what is made of it (`resolve.py`).
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable

from pipeline.load.inputs import BY_NAME, TABLES
from pipeline.load.kept import FORMAT
from pipeline.load.reader import staged_columns
from pipeline.warehouse import MACROS_AS_OF, SQL_DIR, Warehouse

ROW_GROUP = 122_880  # rows; DuckDB's own size
# Beside the staged tables.
KEPT = {"load_file", "refused_row", "row_line", "text_mark", "load_format", "check_run", MACROS_AS_OF}
RARELY_THE_SAME = ("visit_id", "site_id", "equipment_id", "work_id")
SPLINTERS = 50  # row groups beyond those that are needed, until they are merged


def prepare(warehouse: Warehouse, keep_computed: bool = False) -> None:
    """Make what is missing. A work file of another version is emptied: all of it is made again from the kept copies.

    What the last run made of the loaded rows goes first, so that the new tables take its place in the file, unless this
    run is to build on it.
    """
    kept = KEPT | {table.staged for table in TABLES} if _is_ours(warehouse) else set()
    dropped = 0
    if not (kept and keep_computed):
        with warehouse.transaction():
            dropped = warehouse.drop_all_but(kept)
    warehouse.run("load/shown.sql")
    warehouse.run("load/schema.sql")
    warehouse.say_macros()
    for table in TABLES:
        columns = ", ".join(f"{name} {kind}{_packing(name, kind)}" for name, kind in staged_columns(table))
        warehouse.execute(f"CREATE TABLE IF NOT EXISTS {table.staged} ({columns})")
    if not warehouse.scalar("SELECT count(*) FROM load_format"):
        warehouse.execute(f"INSERT INTO load_format VALUES ({FORMAT}, '{shape()}')")
    _checkpoint(warehouse, dropped > 0)


def _packing(name: str, kind: str) -> str:
    """How a column is packed where that can be told beforehand: to try all ways costs twice as much as the best one.

    Rows seldom share their ids: looking for a dictionary of them costs four times as much as writing them down. Times
    shrink by a quarter only. Words, flags and decimals are mostly those of the row before.
    """
    if kind == "TIMESTAMPTZ" or name in RARELY_THE_SAME:
        return " USING COMPRESSION uncompressed"
    return " USING COMPRESSION rle" if kind.startswith(("ENUM", "BOOLEAN", "TINYINT")) else ""


def _checkpoint(warehouse: Warehouse, dropped: bool) -> None:
    """Free the room of what was dropped. Every run leaves a row group of its own, however small: many are merged.

    Merging writes a table anew, and happens in a checkpoint that has something to write: so only here, now and then.
    """
    loads = dict(warehouse.con.sql("SELECT table_name, count(*) FROM load_file GROUP BY ALL").fetchall())
    splintered = any(
        _is_splintered(warehouse, table.staged) for table in TABLES if loads.get(table.name, 0) > SPLINTERS
    )
    if not (dropped or splintered):
        return
    before = warehouse.scalar("SELECT current_setting('max_vacuum_tasks')")
    if splintered:
        warehouse.execute("SET max_vacuum_tasks = 1000")
    warehouse.execute("CHECKPOINT")
    warehouse.execute(f"SET max_vacuum_tasks = {before}")


def _is_splintered(warehouse: Warehouse, staged: str) -> bool:
    groups = warehouse.scalar(
        f"SELECT count(DISTINCT row_group_id) FROM pragma_storage_info('{staged}') WHERE column_name = 'load_id'"
    )
    return int(groups) > SPLINTERS + 2 * int(warehouse.scalar(f"SELECT count(*) FROM {staged}")) // ROW_GROUP


def shape() -> str:
    """Changes with every column that is kept between runs, should somebody forget to count FORMAT up."""
    said = [(SQL_DIR / "load" / "schema.sql").read_text(encoding="utf-8")]
    said += [f"{table.staged} {staged_columns(table)}" for table in TABLES]
    return hashlib.sha256("\n".join(said).encode()).hexdigest()[:16]


def _is_ours(warehouse: Warehouse) -> bool:
    """Is the file empty, or does it say of itself what this version would?"""
    tables = warehouse.tables()
    if "load_format" not in tables:
        return not tables
    return warehouse.con.sql("SELECT * FROM load_format").fetchall() in ([], [(FORMAT, shape())])


def among(load_ids: Iterable[int]) -> str:
    """The condition that a row is of one of these loads."""
    return f"load_id IN ({', '.join(map(str, load_ids))})"


def drop_loads(warehouse: Warehouse, which: str) -> None:
    """Take out the loads for which the condition `which` on load_file holds.

    Staged tables are written anew, not deleted from: DuckDB's checkpoints close the gaps that deleted rows leave, at
    any later time, and what became of a row (`staging.fate_<table>`) is kept by its rowid.
    """
    loads = [r[0] for r in warehouse.con.sql(f"SELECT load_id FROM load_file WHERE {which}").fetchall()]
    if not loads:
        return
    condition = among(loads)
    touched = warehouse.con.sql(f"SELECT DISTINCT table_name FROM load_file WHERE {condition}").fetchall()
    with warehouse.transaction():
        for (name,) in touched:
            staged = BY_NAME[name].staged
            warehouse.execute(
                f"CREATE OR REPLACE TABLE {staged} AS SELECT * FROM {staged} WHERE NOT {condition}"
            )
        for name in ("refused_row", "row_line", "text_mark", "load_file"):
            warehouse.execute(f"DELETE FROM {name} WHERE {condition}")
