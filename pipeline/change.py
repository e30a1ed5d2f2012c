"""What changed since the last publication: the published file is read before it is replaced.

What belongs here: finding out what to compare with. What does not: the comparison itself (`sql/publish/`).

A run on the same files (another day, other settings) keeps the comparison of the publication that it replaces, so that
running twice does not lose it: compared is always with the last publication that rested on other files.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

import duckdb

from pipeline.warehouse import Warehouse, differing, literal

# Two publications rest on the same files if they loaded the same contents into the same tables.
CONTENTS = "SELECT file_sha256, table_name FROM"
SAME_FILES = f"SELECT NOT EXISTS ({differing(f'{CONTENTS} former.load_ledger', f'{CONTENTS} load_ledger')})"
# Does the attached publication show the rows that the last run left in the work file?
IS_THE_LAST = """
    SELECT f.published_at = h.published_at AND NOT f.pseudonyms
    FROM former.publication AS f, publication AS h
"""
LEFT = {"state_then": "VIEW", "state_here": "VIEW", "state_former": "TABLE", "state_since": "TABLE"}
NEEDED = {"site_static", "equipment", "publication", "load_ledger", "site_change"}


def make_site_change(warehouse: Warehouse, published_file: Path, *, only_touched: bool = False) -> None:
    """Make `site_change`: what this run says of every unit and mode against what `published_file` said.

    Needs `publication`, as every view on `site_change` does. `only_touched`: units of equipment that is not in the
    temporary table `touched` are what they were in `published_file`, and are not compared.
    """
    with last_publication(warehouse, published_file) as is_there:
        former = _former(warehouse) if is_there else "state_former_none"
        compares = former == "state_former"
        some = " SEMI JOIN touched USING (equipment_id)" if only_touched and compares else ""
        if compares:
            warehouse.execute(f"CREATE OR REPLACE TEMP VIEW state_then AS FROM former.site_static{some}")
        warehouse.execute(f"CREATE OR REPLACE TEMP VIEW state_here AS FROM site_static{some}")
        warehouse.run(f"publish/{former}.sql")
    warehouse.run("publish/site_change.sql")
    for name, kind in LEFT.items():
        warehouse.execute(f"DROP {kind} IF EXISTS temp.{name}")


def is_of_last_run(warehouse: Warehouse, published_file: Path) -> bool:
    """Does the publication show what the last run left in the work file? Asked before this run describes itself."""
    if "publication" not in warehouse.tables():
        return False
    with last_publication(warehouse, published_file) as is_there:
        return is_there and bool(warehouse.scalar(IS_THE_LAST))


@contextmanager
def last_publication(warehouse: Warehouse, file: Path) -> Iterator[bool]:
    """The last publication, attached read-only as `former`; False where there is none that can be read."""
    attached = False
    if file.exists():
        with suppress(duckdb.Error):  # damaged, or no database at all: it is about to be replaced
            warehouse.con.execute(f"ATTACH {literal(file)} AS former (READ_ONLY)")
            attached = True
    try:
        yield attached
    finally:
        if attached:
            warehouse.execute("DETACH former")


def _former(warehouse: Warehouse) -> str:
    """The file of `sql/publish/` that says what to compare with."""
    if not warehouse.relations("former").keys() >= NEEDED:  # made by a version that kept no comparison
        return "state_former_none"
    return "state_former_kept" if warehouse.scalar(SAME_FILES) else "state_former"
