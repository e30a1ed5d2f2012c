"""One file into its staged table: read by DuckDB, counted against the file's own records, unreadable rows set apart.

What does not belong here: which files are new (`stage.py`), and what becomes of a staged row (`resolve.py`).
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

import duckdb
import numpy as np
import polars as pl

from pipeline.errors import StageError, UsageError
from pipeline.load import kept
from pipeline.load.copying import Copy
from pipeline.load.faults import describe
from pipeline.load.files import InputFile
from pipeline.load.header import Header, read_header
from pipeline.load.inputs import BY_NAME
from pipeline.load.layout import Layout, lay_out
from pipeline.load.lines import Lines
from pipeline.load.mapping import Mapping
from pipeline.load.reader import select, zoneless
from pipeline.load.records import Ints, Records, begins_blank, count_lines, find_records
from pipeline.warehouse import Warehouse

LOOK = 2048  # rows; a file that has times without a zone has one early
AS_UTC = "times have no UTC offset and are read as UTC, expected one or time_zone in a mapping"
BY_THE_VISIT = "times of zeroing have no UTC offset and are read with that of their visit"
REFUSED = ("load_id", "record", "ordinal", "line_number", "raw_line", "reason", "detail")


@dataclass(frozen=True)
class Ticket:
    """Under which number and with which facts a file is entered in load_file."""

    load_id: int
    loaded_at: datetime
    mapping_name: str
    kept: str


@dataclass(frozen=True)
class ReadAhead:
    """A file that somebody else has read already: Parquet files of its staged and its refused rows, in their order."""

    staged: str
    refused: str
    rows_read: int
    remark: str | None = None


@dataclass(frozen=True)
class Staged:
    """The rows of one load in its staged table: the first's rowid before they are committed, how many, and how many of
    them hold a value that cannot be read."""

    first: int
    rows: int
    wrong: int


class _Untidy(Exception):
    """DuckDB and the file's own records do not agree: the text must be mended first."""


def plan(file: InputFile, copy: Copy, mapping: Mapping, warehouse: Warehouse) -> Layout:
    """How this file will be read. Raises UsageError where its header cannot be used."""
    table = BY_NAME[file.table]
    if file.parquet:
        return lay_out(
            table, _parquet_header(warehouse, copy.path, file.name), mapping, copy.path, parquet=True
        )
    header = read_header(copy.text, file.name, mapping.separator)
    return lay_out(table, header, mapping, copy.text, returns=copy.returns)


def _parquet_header(warehouse: Warehouse, path: Path, name: str) -> Header:
    try:
        columns = warehouse.con.execute("SELECT * FROM read_parquet(?) LIMIT 0", [str(path)]).description
    except duckdb.Error as error:
        raise UsageError(f"{name}: cannot be read, expected a whole Parquet file") from error
    return Header(tuple(str(c[0]) for c in columns or []))


def stage(
    warehouse: Warehouse,
    file: InputFile,
    copy: Copy,
    layout: Layout,
    ticket: Ticket,
    ahead: ReadAhead | None = None,
    turn: Callable[[], object] = bool,
) -> None:
    """Read one file into its staged table and refused_row, and enter it in load_file: all of it or nothing.

    `ahead`: its rows, where it has been read elsewhere. `turn` returns once it is this file's turn to be committed.
    """
    if layout.missing:
        with _one_by_one(warehouse, turn):
            _enter(warehouse, file, copy, layout, ticket, 0, Staged(0, 0, 0))
        return
    if ahead is not None:
        with _one_by_one(warehouse, turn):
            for table, rows in ((layout.table.staged, ahead.staged), ("refused_row", ahead.refused)):
                warehouse.execute(
                    f"INSERT INTO {table} BY NAME SELECT * REPLACE ({ticket.load_id} AS load_id) FROM read_parquet(?)",
                    [rows],
                )
            staged = _staged(warehouse, layout, ticket.load_id)
            _enter(warehouse, file, copy, layout, ticket, ahead.rows_read, staged, ahead.remark)
        return
    due = _rows_due(copy, layout)
    looked_at = records_of(layout) if due is None else None
    try:
        with _one_by_one(warehouse, turn):
            _stage(warehouse, file, copy, layout, ticket, looked_at, due)
    except _Untidy:
        try:
            with _one_by_one(warehouse, turn):
                _stage(warehouse, file, copy, layout, ticket, records_of(layout, mend=True))
        except _Untidy as error:
            raise StageError(f"{file.name}: cannot be read as CSV even when mended") from error


@contextmanager
def _one_by_one(warehouse: Warehouse, turn: Callable[[], object]) -> Iterator[None]:
    with warehouse.transaction():
        yield
        turn()


def _rows_due(copy: Copy, layout: Layout) -> int | None:
    """How many rows DuckDB must find in a text that it can surely read as it is; None: look at it closely."""
    if layout.parquet:
        return 0  # nobody asks
    if copy.nuls or copy.returns or len(layout.header.names) == 1 or begins_blank(layout.text):
        return None
    lines = count_lines(layout.text, layout.header.separator) if copy.quotes else copy.newlines
    return None if lines is None else lines + copy.ends_open - 1


def _stage(
    warehouse: Warehouse,
    file: InputFile,
    copy: Copy,
    layout: Layout,
    ticket: Ticket,
    records: Records | None,
    due: int | None = None,
) -> None:
    if records is not None and records.malformed and not _header_first(records):
        raise UsageError(
            f"{file.name}:{records.malformed[0].line}: the header row {records.malformed[0].why}"
        )
    read = _mended(layout, records)
    try:
        warehouse.execute(f"INSERT INTO {layout.table.staged} {select(read, ticket.load_id)}")
    except StageError as error:
        if isinstance(error.__cause__, duckdb.InvalidInputException) and read is layout:
            raise _Untidy from error
        raise
    ragged = [] if layout.parquet else _take_rejects(warehouse, len(layout.header.names))
    staged = _staged(warehouse, layout, ticket.load_id)
    n_rows = staged.rows + len(ragged)
    if not layout.parquet:
        if records is None and n_rows != due:
            records = records_of(layout)
            if records.text is not None:
                raise _Untidy
        if records is not None and n_rows != len(records.starts) - 1:
            raise StageError(f"{file.name}: holds {len(records.starts) - 1} records, but {n_rows} were read")
    lines = _lines(copy, due, n_rows)
    if ragged or staged.wrong or (records is not None and records.malformed):
        _refuse(warehouse, layout, ticket.load_id, records if lines is None else lines, ragged, staged.first)
    n_malformed = len(records.malformed) if records is not None else 0
    _enter(warehouse, file, copy, layout, ticket, n_rows + n_malformed, staged, _remark(warehouse, read))
    if lines is not None:
        places, breaks = zip(*lines.marks, strict=True)
        marks = {"load_id": [ticket.load_id] * len(places), "place": places, "line_breaks": breaks}
        append(warehouse, "text_mark", pl.DataFrame(marks))


def _remark(warehouse: Warehouse, layout: Layout) -> str | None:
    """What the ledger says of how the file was read: of columns that the mapping names and the file has not, and of
    times that do not say their zone."""
    said = [f"has no {' and no '.join(layout.unfound)}"] if layout.unfound else []
    look, count = zoneless(layout, LOOK), zoneless(layout)
    if look is not None and count is not None and any(warehouse.con.sql(look).fetchall()[0]):
        as_utc, by_visit = warehouse.con.sql(count).fetchall()[0]
        if as_utc:
            said.append(f"{as_utc} {AS_UTC}")
        if by_visit:
            said.append(f"{by_visit} {BY_THE_VISIT}")
    return "; ".join(said) or None


def _lines(copy: Copy, due: int | None, rows_read: int) -> Lines | None:
    """The lines of a text of which each is a record, none blank and none broken within quotes; None for any other."""
    return Lines(copy.text, copy.marks) if due == rows_read == copy.newlines + copy.ends_open - 1 else None


def _header_first(records: Records) -> bool:
    return len(records.lines) > 0 and int(records.lines[0]) < records.malformed[0].line


def records_of(layout: Layout, mend: bool = False) -> Records:
    """The file's own records; `mend`: as an untidy file, whatever it looks like."""
    return find_records(layout.text, layout.header.separator, 1 if mend else len(layout.header.names))


def _mended(layout: Layout, records: Records | None) -> Layout:
    """The layout with its text replaced by the mended one, if there is one."""
    if records is None or records.text is None:
        return layout
    path = layout.text.with_name(f"{kept.INCOMING}.{layout.text.name}.mended")
    path.write_bytes(records.text)
    return Layout(**{**layout.__dict__, "text": path})


def _take_rejects(warehouse: Warehouse, columns: int) -> list[tuple[int, str]]:
    """Number and fault of the records that DuckDB set apart, in order; its tables of them are dropped."""
    rows = warehouse.con.sql(
        "SELECT line, max(kind), if(max(kind) = 'MISSING COLUMNS', min(n), max(n)) FROM (SELECT line, "
        "error_type::VARCHAR AS kind, TRY_CAST(regexp_extract(error_message, 'Found: ([0-9]+)', 1) AS INTEGER) AS n "
        "FROM reject_errors) GROUP BY line ORDER BY line"
    ).fetchall()
    warehouse.execute("DROP TABLE reject_errors")
    warehouse.execute("DROP TABLE reject_scans")
    if any(kind == "UNQUOTED VALUE" for _, kind, _ in rows):
        raise _Untidy
    return [(int(line), _fault(kind, found, columns)) for line, kind, found in rows]


def _fault(kind: str, found: int | None, columns: int) -> str:
    if kind == "LINE SIZE OVER MAXIMUM":
        return "the row is longer than 2000000 bytes, expected a shorter one"
    return f"the row has {found} value{'' if found == 1 else 's'}, expected {columns} as in the header"


def _staged(warehouse: Warehouse, layout: Layout, load_id: int) -> Staged:
    """Which rows of the staged table are this load's; they must stand without a gap."""
    first, last, n, wrong = warehouse.con.sql(
        f"SELECT min(rowid), max(rowid), count(*), count(wrong) FROM {layout.table.staged} WHERE load_id = {load_id}"
    ).fetchall()[0]
    if n and last - first + 1 != n:
        raise StageError(f"{layout.table.staged}: rows of load {load_id} are not in one piece")
    return Staged(first or 0, n, wrong)


def _refuse(
    warehouse: Warehouse,
    layout: Layout,
    load_id: int,
    records: Records | Lines | None,
    ragged: list[tuple[int, str]],
    first: int,
) -> None:
    """Enter the rows that cannot be understood in refused_row, with line and raw text."""
    wrong = warehouse.con.sql(
        f"SELECT rowid - {first}, wrong, texts FROM {layout.table.staged} "
        f"WHERE load_id = {load_id} AND wrong IS NOT NULL ORDER BY rowid"
    ).fetchall()
    ordinals: Ints = np.array([w[0] for w in wrong], dtype=np.int64)
    numbers: Ints = np.array([r[0] for r in ragged], dtype=np.int64)
    places = point_at(warehouse, layout, records, numbers, ordinals)
    rows: list[tuple[object, ...]] = [
        (load_id, None, w[0], line, raw, *describe(layout, w[1], w[2]))
        for w, (line, raw) in zip(wrong, places, strict=True)
    ]
    if ragged:
        records = records or records_of(layout)
        rows += [
            (load_id, r[0], None, line, raw, "row_malformed", r[1])
            for r, (line, raw) in zip(ragged, records.numbered(numbers), strict=True)
        ]
    if isinstance(records, Records):
        rows += [
            (load_id, None, None, m.line, records.raw(m.start, m.end), "row_malformed", f"the row {m.why}")
            for m in records.malformed
        ]
    types = dict.fromkeys(REFUSED[:4], pl.Int64()) | dict.fromkeys(REFUSED[4:], pl.String())
    append(warehouse, "refused_row", pl.DataFrame(rows, schema=types, orient="row"))


def point_at(
    warehouse: Warehouse, layout: Layout, records: Records | Lines | None, ragged: Ints, ordinals: Ints
) -> list[tuple[int, str]]:
    """Line number and raw text of staged rows of a file, given by their ordinals."""
    if not len(ordinals):
        return []
    if layout.parquet:
        warehouse.con.register("_wanted", pl.DataFrame({"file_row_number": ordinals}))
        rows = warehouse.con.execute(
            "SELECT p.file_row_number + 1, to_json(p)::VARCHAR FROM read_parquet(?, file_row_number = true) AS p "
            "SEMI JOIN _wanted USING (file_row_number) ORDER BY 1",
            [str(layout.text)],
        ).fetchall()
        warehouse.con.unregister("_wanted")
        return [(int(line), str(raw)) for line, raw in rows]
    return (records or records_of(layout)).rows(ragged, ordinals)


def append(warehouse: Warehouse, table: str, rows: pl.DataFrame) -> None:
    warehouse.con.register("_rows", rows)
    try:
        warehouse.execute(f"INSERT INTO {table} SELECT * FROM _rows")
    finally:
        warehouse.con.unregister("_rows")


def _enter(
    warehouse: Warehouse,
    file: InputFile,
    copy: Copy,
    layout: Layout,
    ticket: Ticket,
    rows_read: int,
    staged: Staged,
    remark: str | None = None,
) -> None:
    warehouse.execute(
        f"INSERT INTO load_file VALUES ({'?, ' * 15} false)",
        [
            ticket.load_id,
            file.name,
            file.folder,
            copy.sha256,
            copy.size,
            layout.table.name,
            ticket.loaded_at,
            rows_read,
            staged.rows,
            staged.wrong,
            ticket.kept,
            layout.mapping.fingerprint(layout.table),
            ticket.mapping_name,
            ", ".join(layout.missing),
            remark,
        ],
    )
