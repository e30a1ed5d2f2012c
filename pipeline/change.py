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

from pipeline.warehouse import Warehouse, literal

# Two publications rest on the same files if they loaded the same contents into the same tables.
SAME_FILES = """
    SELECT count(*) = 0 FROM (
        (SELECT file_sha256, table_name FROM former.load_ledger EXCEPT SELECT file_sha256, table_name FROM load_ledger)
        UNION ALL
        (SELECT file_sha256, table_name FROM load_ledger EXCEPT SELECT file_sha256, table_name FROM former.load_ledger)
    )
"""
NEEDED = {"site_static", "equipment", "publication", "load_ledger", "site_change"}


def make_site_change(warehouse: Warehouse, published_file: Path) -> None:
    """Make `site_change`: what this run says of every unit and mode against what `published_file` said.

    Needs `publication`, as every view on `site_change` does.
    """
    with last_publication(warehouse, published_file) as is_there:
        warehouse.run(f"publish/{_former(warehouse) if is_there else 'state_former_none'}.sql")
    warehouse.run("publish/site_change.sql")
    warehouse.execute("DROP TABLE temp.state_former")


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
