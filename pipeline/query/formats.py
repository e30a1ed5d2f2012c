"""Rows as text or bytes: table, csv, json, parquet.

Values are written by DuckDB's own casts, in a small connection beside the door; times as ISO 8601, UTC. NULL is
empty in a table and in csv (an empty text is "" there), null in json.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any, TextIO

import duckdb
import polars as pl
import pyarrow as pa
import pyarrow.parquet as pq

from pipeline.errors import UsageError
from pipeline.query.door import Rows
from pipeline.query.table import write_table
from pipeline.warehouse import fence, literal

FORMATS = ("table", "csv", "json", "parquet")
ISO_TIME = {
    "TIMESTAMP WITH TIME ZONE": "replace(replace({}::VARCHAR, ' ', 'T'), '+00', 'Z')",
    "TIMESTAMP": "replace({}::VARCHAR, ' ', 'T')",
}
# Six digits that count, and whole numbers beyond a million, for a person to read.
SIX_DIGITS = (
    "CASE WHEN abs({0}) >= 1e6 AND abs({0}) < 1e15 THEN printf('%.0f', {0}) ELSE printf('%.6g', {0}) END"
)
FLOATS = ("DOUBLE", "FLOAT")
Cell = Callable[[str, str], str]  # column and its DuckDB type -> the SQL of its text


def write_rows(rows: Rows, format_: str, out: TextIO) -> None:
    """Write all rows to `out`; parquet goes to its bytes, and only where that is a file or a pipe."""
    if format_ == "table":
        numbers = [_is_number(type_) for type_ in rows.schema.types]
        write_table(rows.columns, numbers, _texts(rows, _table_cell), out)
    elif format_ == "csv":
        _write_csv(rows, out)
    elif format_ == "json":
        _write_json(rows, out)
    elif format_ == "parquet":
        _write_parquet(rows, out)
    else:
        raise UsageError(f"{format_!r} is no format; expected one of {', '.join(FORMATS)}")


def _write_csv(rows: Rows, out: TextIO) -> None:
    out.write(pl.DataFrame([rows.columns], orient="row").write_csv(include_header=False))
    for frame in _texts(rows, _plain_text):
        out.write(frame.write_csv(include_header=False))


def _write_json(rows: Rows, out: TextIO) -> None:
    names = _distinct(rows.columns)
    before = "["
    with _Writer() as writer:
        for part in rows.parts:
            columns = zip(names, writer.take(part), strict=True)
            fields = ", ".join(f"{literal(name)}: {_json_value(*column)}" for name, column in columns)
            for (text,) in writer.con.execute(f"SELECT to_json({{{fields}}})::VARCHAR FROM part").fetchall():
                out.write(f"{before}\n{text}")
                before = ","
    out.write("[]\n" if before == "[" else "\n]\n")


def _write_parquet(rows: Rows, out: TextIO) -> None:
    binary = getattr(out, "buffer", None)
    if out.isatty() or binary is None:
        raise UsageError(
            "--format parquet writes bytes; send them to a file or a pipe: ... --format parquet > FILE"
        )
    types = [pa.string() if pa.types.is_interval(t) else t for t in rows.schema.types]
    schema = pa.schema(list(zip(_distinct(rows.columns), types, strict=True)))
    with pq.ParquetWriter(binary, schema) as file, _Writer() as writer:
        for part in rows.parts:
            names = [name for name, _ in writer.take(part)]
            spans = [pa.types.is_interval(type_) for type_ in part.schema.types]
            columns = [
                writer.con.sql(f"SELECT {name}::VARCHAR FROM part").to_arrow_table().column(0)
                if span
                else column
                for name, span, column in zip(names, spans, part.columns, strict=True)
            ]
            file.write_table(pa.table(columns, schema=schema))


class _Writer:
    """A connection that writes values as text: the part at hand, its columns named c0, c1 and so on."""

    def __init__(self) -> None:
        self.con = duckdb.connect(":memory:")
        self.con.execute("SET TimeZone = 'UTC'")
        fence(self.con)

    def take(self, part: pa.Table) -> list[tuple[str, str]]:
        """Make `part` the table of that name; its columns and their DuckDB types."""
        self.con.register("part", part.rename_columns([f"c{i}" for i in range(part.num_columns)]))
        described: list[tuple[Any, ...]] = self.con.execute("DESCRIBE part").fetchall()
        return [(name, type_) for name, type_, *_ in described]

    def __enter__(self) -> _Writer:
        return self

    def __exit__(self, *_: object) -> None:
        self.con.close()


def _texts(rows: Rows, cell: Cell) -> Iterator[pl.DataFrame]:
    """The parts as frames of text; an answer without a row gives one empty frame."""
    empty = True
    with _Writer() as writer:
        for part in rows.parts:
            cells = ", ".join(f"{cell(*column)} AS {column[0]}" for column in writer.take(part))
            yield writer.con.sql(f"SELECT {cells} FROM part").pl()
            empty = False
    if empty:
        yield pl.DataFrame(schema={f"c{i}": pl.String for i in range(len(rows.columns))})


def _plain_text(column: str, type_: str) -> str:
    """A value as text in full precision."""
    return ISO_TIME.get(type_, "{}::VARCHAR").format(column)


def _table_cell(column: str, type_: str) -> str:
    """A value as a person reads it."""
    return SIX_DIGITS.format(column) if type_ in FLOATS else _plain_text(column, type_)


def _json_value(column: str, type_: str) -> str:
    """A value as JSON can hold it: a float that is no number becomes null."""
    if type_ in FLOATS:
        return f"CASE WHEN isfinite({column}) THEN {column} END"
    return ISO_TIME[type_].format(column) if type_ in ISO_TIME else column


def _is_number(type_: pa.DataType) -> bool:
    return bool(pa.types.is_integer(type_) or pa.types.is_floating(type_) or pa.types.is_decimal(type_))


def _distinct(names: list[str]) -> list[str]:
    """Column names made different from each other: a second `n` becomes `n_2`."""
    taken: set[str] = set()
    made = []
    for name in names:
        new, count = name, 1
        while new.lower() in taken:
            count += 1
            new = f"{name}_{count}"
        taken.add(new.lower())
        made.append(new)
    return made
