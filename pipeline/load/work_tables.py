"""The tables that the load stage keeps in the work file: made where missing, and rows taken out load by load.

What does not belong here: what is put in (`staging.py`), and what is made of it (`resolve.py`).
"""

from __future__ import annotations

import hashlib

from pipeline.load.inputs import TABLES
from pipeline.load.kept import FORMAT
from pipeline.load.reader import staged_columns
from pipeline.warehouse import SQL_DIR, Warehouse


def prepare(warehouse: Warehouse) -> None:
    """Make what is missing. A work file of another version is emptied: all of it is made again from the kept copies."""
    if not _is_ours(warehouse):
        _empty(warehouse)
    warehouse.run("load/shown.sql")
    warehouse.run("load/schema.sql")
    for table in TABLES:
        columns = ", ".join(f"{name} {kind}" for name, kind in staged_columns(table))
        warehouse.execute(f"CREATE TABLE IF NOT EXISTS {table.staged} ({columns})")
    if not warehouse.scalar("SELECT count(*) FROM load_format"):
        warehouse.execute(f"INSERT INTO load_format VALUES ({FORMAT}, '{shape()}')")


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


def _empty(warehouse: Warehouse) -> None:
    """Drop everything that a work file holds; views first, for they stand on tables."""
    with warehouse.transaction():
        for kind in ("VIEW", "TABLE"):
            names = warehouse.con.sql(
                f"SELECT {kind.lower()}_name FROM duckdb_{kind.lower()}s() WHERE NOT internal AND NOT temporary"
            ).fetchall()
            for (name,) in names:
                warehouse.execute(f'DROP {kind} IF EXISTS "{name}"')


def drop_loads(warehouse: Warehouse, which: str) -> None:
    """Take out the loads for which the condition `which` on load_file holds."""
    if not warehouse.scalar(f"SELECT count(*) FROM load_file WHERE {which}"):
        return
    loads = f"(SELECT load_id FROM load_file WHERE {which})"
    with warehouse.transaction():
        for name in (*(t.staged for t in TABLES), "refused_row", "row_line"):
            warehouse.execute(f"DELETE FROM {name} WHERE load_id IN {loads}")
        warehouse.execute(f"DELETE FROM load_file WHERE {which}")
