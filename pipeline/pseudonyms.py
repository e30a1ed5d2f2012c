"""Pseudonyms for technicians: what leaves the folder names nobody.

The key, `DIR/pseudonyms.csv`, is drawn at random, grows with new technicians and stays in DIR, readable by its owner
only; so a pseudonym is the same in every publication, page and export made from one DIR, and means nothing elsewhere.
Beside ids, free text can name people: notes are withheld, and so are raw lines and quoted values of the tables whose
exports say who measured, who did a work or whose gauge it is.
What stays private with the key: the work file, `last_run.duckdb`, the kept drops and the gate's page.
"""

from __future__ import annotations

import csv
import os
import secrets
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path
from tempfile import TemporaryDirectory

import polars as pl

from pipeline.catalog.dictionary import comments, macro_comments
from pipeline.durable import replace_durably
from pipeline.warehouse import Warehouse, attach_published, folder_lock, literal

KEY_NAME = "pseudonyms.csv"
SIGNS = "23456789BCDFGHJKMNPQRTVWXZ"  # no vowels, nothing to be mistaken
LENGTH = 6
WITHHELD = "withheld (pseudonyms)"

# Free text that can name a technician, by table and column, and what is written in its place.
_OF_PEOPLE = "\"table_name\" IN ('visits', 'technicians', 'instruments', 'work')"
FREE_TEXT = {
    ("visit", "note"): f"CASE WHEN note IS NOT NULL THEN '{WITHHELD}' END",
    ("rejected_row", "raw_line"): f"CASE WHEN {_OF_PEOPLE} THEN '{WITHHELD}' ELSE raw_line END",
    # Greedy, to the last quote: a value may hold quotes itself.
    ("rejected_row", "detail"): f"CASE WHEN NOT {_OF_PEOPLE} THEN detail "
    "WHEN regexp_matches(detail, 'holds ''.*'', expected', 's') "
    f"THEN regexp_replace(detail, 'holds ''.*'', expected', 'holds {WITHHELD}, expected', 's') "
    f"ELSE regexp_replace(detail, '''.*''', '{WITHHELD}', 's') END",
    ("superseded_row", "raw_line"): f"CASE WHEN {_OF_PEOPLE} THEN '{WITHHELD}' ELSE raw_line END",
    ("superseded_row", "key"): "CASE WHEN \"table_name\" = 'technicians' "
    'THEN coalesce((SELECT p.pseudonym FROM pseudonym AS p WHERE p.technician_id = t."key"), '
    f"'{WITHHELD}') ELSE \"key\" END",
    ("publication", "pseudonyms"): "TRUE",
}


def read_key(into: Path) -> dict[str, str]:
    """Technician -> pseudonym, as kept in DIR; empty where none was made."""
    file = into / KEY_NAME
    if not file.exists():
        return {}
    with file.open(encoding="utf-8", newline="") as text:
        return {row["technician_id"]: row["pseudonym"] for row in csv.DictReader(text)}


def pseudonyms_of(into: Path, technicians: Iterable[str]) -> dict[str, str]:
    """The key with a pseudonym for each of `technicians`; what was missing is drawn and kept in DIR."""
    key = read_key(into)
    taken = {*key.values(), *key, *technicians}
    missing = sorted(set(technicians) - set(key))
    for technician in missing:
        while (drawn := "P-" + "".join(secrets.choice(SIGNS) for _ in range(LENGTH))) in taken:
            pass
        taken.add(drawn)
        key[technician] = drawn
    if missing:
        _keep(into / KEY_NAME, key)
    return key


def _keep(file: Path, key: dict[str, str]) -> None:
    """Written beside its place, synced and renamed; for the owner's eyes."""
    new = file.with_name(file.name + ".new")
    new.unlink(missing_ok=True)
    descriptor = os.open(new, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    with os.fdopen(descriptor, "w", encoding="utf-8", newline="") as text:
        writer = csv.writer(text)
        writer.writerow(["technician_id", "pseudonym"])
        writer.writerows(sorted(key.items()))
    replace_durably(new, file)


def store_key(warehouse: Warehouse, into: Path, source: str) -> None:
    """Make the temporary table `pseudonym` for the technicians of the database `source`."""
    technicians = warehouse.query(f'SELECT technician_id FROM "{source}".technician ORDER BY technician_id')
    key = pseudonyms_of(into, technicians["technician_id"].to_list())
    frame = pl.DataFrame(
        {"technician_id": list(key), "pseudonym": list(key.values())},
        schema={"technician_id": pl.String, "pseudonym": pl.String},
    )
    warehouse.store("pseudonym", frame, temporary=True)


def selection(source: str, table: str, columns: list[str], *, is_view: bool = False) -> str:
    """SELECT of a published table with pseudonyms in place of technicians. A table of technicians is put in the order
    of the pseudonyms: the order of their ids would give them away. A view has no row order; its first column gives it.
    """
    replaced = {c: text for c in columns if (text := FREE_TEXT.get((table, c)))}
    joined, order = "", f't."{columns[0]}"' if is_view else "t.rowid"
    if "technician_id" in columns:
        replaced["technician_id"] = "p.pseudonym"
        joined = " LEFT JOIN pseudonym AS p USING (technician_id)"
        if columns[0] == "technician_id":
            order = f"p.pseudonym, {order}"
    parts = ", ".join(f'{replaced[c]} AS "{c}"' if c in replaced else f't."{c}"' for c in columns)
    return f'SELECT {parts} FROM "{source}"."{table}" AS t{joined} ORDER BY {order}'


@contextmanager
def with_pseudonyms(into: Path) -> Iterator[Path]:
    """A copy of DIR's publication in which technicians go by pseudonym, while the block lasts; the publication itself
    where it has pseudonyms already. The copy is made anew, table by table: no trace of what it was made from."""
    published = into / "fleet.duckdb"
    con = attach_published(published)
    try:
        done = con.execute(
            "SELECT count(*) FROM duckdb_columns() WHERE database_name = 'fleet' "
            "AND table_name = 'publication' AND column_name = 'pseudonyms'"
        ).fetchall() != [(0,)] and con.execute("SELECT pseudonyms FROM publication").fetchall() == [(True,)]
    finally:
        con.close()
    if done:
        yield published
        return
    with TemporaryDirectory(prefix=".pseudonyms-", dir=into) as folder:
        copy = Path(folder) / published.name
        with folder_lock(into), Warehouse(copy) as warehouse:
            warehouse.execute(f"ATTACH {literal(published)} AS source (READ_ONLY)")
            rows = selections(warehouse, "source", into)
            for name, select in rows.items():
                warehouse.execute(f'CREATE TABLE "{name}" AS {select}')
            home = str(warehouse.scalar("SELECT current_database()"))
            for statement in (*comments(warehouse.relations(), rows, home), *macro_comments()):
                warehouse.execute(statement)
            warehouse.execute("DETACH source")
        yield copy


def tables_of(warehouse: Warehouse, source: str) -> dict[str, list[str]]:
    """Tables and views of a database with their columns, in order."""
    rows = warehouse.query(
        "SELECT table_name, list(column_name ORDER BY column_index) AS columns FROM duckdb_columns() "
        f"WHERE database_name = '{source}' AND schema_name = 'main' AND NOT internal "
        "GROUP BY table_name, table_oid ORDER BY table_oid"
    )
    return dict(rows.iter_rows())


def selections(warehouse: Warehouse, source: str, into: Path) -> dict[str, str]:
    """Table or view of the database `source` -> its SELECT with the pseudonyms of DIR."""
    store_key(warehouse, into, source)
    kinds = warehouse.relations(source)
    return {
        name: selection(source, name, columns, is_view=kinds[name] == "VIEW")
        for name, columns in tables_of(warehouse, source).items()
    }
