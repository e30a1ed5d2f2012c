"""The tables that the load stage keeps in the work file: made where missing, and rows taken out load by load.

What does not belong here: what is put in (`staging.py`), and what is made of it (`resolve.py`).
"""

from __future__ import annotations

from pipeline.load.inputs import TABLES
from pipeline.load.kept import FORMAT
from pipeline.load.reader import staged_columns
from pipeline.warehouse import Warehouse

KEPT = (*(t.staged for t in TABLES), "load_file", "refused_row", "row_line", "load_format")


def prepare(warehouse: Warehouse) -> None:
    """Make what is missing. Tables of another format are dropped: they are made again from the kept copies."""
    warehouse.run("load/shown.sql")
    warehouse.run("load/schema.sql")
    formats = {r[0] for r in warehouse.con.sql("SELECT format FROM load_format").fetchall()}
    if formats - {FORMAT}:
        with warehouse.transaction():
            for name in KEPT:
                warehouse.execute(f"DROP TABLE IF EXISTS {name}")
        warehouse.run("load/schema.sql")
        formats = set()
    if not formats:
        warehouse.execute(f"INSERT INTO load_format VALUES ({FORMAT})")
    for table in TABLES:
        columns = ", ".join(f"{name} {kind}" for name, kind in staged_columns(table))
        warehouse.execute(f"CREATE TABLE IF NOT EXISTS {table.staged} ({columns})")


def drop_loads(warehouse: Warehouse, which: str) -> None:
    """Take out the loads for which the condition `which` on load_file holds."""
    if not warehouse.scalar(f"SELECT count(*) FROM load_file WHERE {which}"):
        return
    loads = f"(SELECT load_id FROM load_file WHERE {which})"
    with warehouse.transaction():
        for name in (*(t.staged for t in TABLES), "refused_row", "row_line"):
            warehouse.execute(f"DELETE FROM {name} WHERE load_id IN {loads}")
        warehouse.execute(f"DELETE FROM load_file WHERE {which}")
