"""Files of which most rows hold dates that cannot be read, and how those are written, where only one way explains all.

What does not belong here: the mapping to start from (`mapping_start.py`), and reading dates (`values.py`).
"""

from __future__ import annotations

from dataclasses import dataclass

from pipeline.load.inputs import BY_NAME, Table
from pipeline.warehouse import Warehouse, literal

DAYS = ("%m/%d/%Y", "%d/%m/%Y", "%d.%m.%Y", "%m-%d-%Y", "%d-%m-%Y", "%Y/%m/%d", "%Y%m%d")
TIMES = ("", " %H:%M", " %H:%M:%S", " %I:%M %p", " %I:%M:%S %p")
FORMATS = tuple(day + time for day in DAYS for time in TIMES)
MOST = 10_000  # texts that are looked at


@dataclass(frozen=True)
class Misdated:
    """`rows_wrong` of a file's rows are rejected for their dates; `option` is the line of a mapping that explains all
    of them, None where none does, or several do."""

    file: str
    rows_wrong: int
    rows_read: int
    option: str | None


def misdated(warehouse: Warehouse) -> list[Misdated]:
    """The files that no gate has accepted yet of which most rows are rejected for their dates."""
    rows = warehouse.con.sql(
        "SELECT f.load_id, f.file, f.table_name, count(*) AS n, f.rows_read FROM load_file AS f "
        "JOIN refused_row AS r USING (load_id) WHERE NOT f.accepted AND r.reason = 'bad_date' "
        "GROUP BY ALL HAVING n >= getvariable('gate_rejected_rows') AND 2 * n > f.rows_read ORDER BY f.load_id"
    ).fetchall()
    return [
        Misdated(file, n, rows_read, _option(warehouse, BY_NAME[table], load_id))
        for load_id, file, table, n, rows_read in rows
    ]


def _option(warehouse: Warehouse, table: Table, load_id: int) -> str | None:
    places = [i for i, c in enumerate(table.columns) if c.kind in ("date", "instant")]
    texts = " UNION ".join(
        f"SELECT trim(texts[{place + 1}]) AS t FROM {table.staged} "
        f"WHERE load_id = {load_id} AND list_contains(wrong, {place}) AND trim(texts[{place + 1}]) <> ''"
        for place in places
    )
    tried = ", ".join(
        f"coalesce(bool_and(try_strptime(t, {literal(f)}) IS NOT NULL), false)" for f in FORMATS
    )
    found = warehouse.con.sql(
        f"SELECT {tried} FROM (SELECT t FROM ({texts}) ORDER BY t LIMIT {MOST})"
    ).fetchall()[0]
    fits = [f for f, explains in zip(FORMATS, found, strict=True) if explains]
    if len(fits) != 1:
        return None
    return f'{option_of(fits[0])} = "{fits[0]}"'


def option_of(form: str) -> str:
    """The option of a mapping that a format belongs to."""
    return "date_format" if form in DAYS else "time_format"
