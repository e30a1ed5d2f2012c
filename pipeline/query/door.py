"""The door: a publication opened read-only and fenced; one statement goes in, rows come out in parts.

A statement is checked for its kind before it runs, but that is courtesy (a clear message): what keeps files and
tables safe is the connection itself (`pipeline.warehouse.fence`), which the tests attack without the check.
"""

from __future__ import annotations

import os
import re
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import nullcontext
from pathlib import Path
from typing import Any

import duckdb
import pyarrow as pa

from pipeline.errors import UsageError
from pipeline.query.limits import GB, Clock, Limits, memory_ceiling
from pipeline.warehouse import attach_published, fence

PART_ROWS = 20_000
# What a statement may be; MULTI is what DuckDB makes of a PIVOT.
ANSWERED = {"SELECT", "EXPLAIN", "MULTI"}
ONE_QUESTION = (
    "expected one question: SELECT, FROM, WITH, VALUES, PIVOT, DESCRIBE, SUMMARIZE, SHOW or EXPLAIN; "
    "the published tables are read-only and nothing else can be reached from here"
)
FOUND_AT_BINDING = (duckdb.BinderException, duckdb.CatalogException, duckdb.ParserException)


class Rows:
    """The answer to one query: its column names, and its rows in parts (Arrow tables), to be taken once."""

    def __init__(self, schema: pa.Schema, parts: Iterator[pa.Table]) -> None:
        self.schema = schema
        self.columns: list[str] = list(schema.names)
        self.parts = parts


class Door:
    """An open publication. Keeps the one that it opened, also while a run replaces the file."""

    def __init__(self, published: Path) -> None:
        self.published = published
        self.con = attach_published(published)
        self._identity = self._file_identity()
        self.limits = Limits.of(self.con)
        if self.limits.memory_gb > 0:
            self.con.execute(f"SET memory_limit = '{int(self.limits.memory_gb * GB)} bytes'")
        fence(self.con)
        self._pool = ThreadPoolExecutor(1, "query")

    def ask(self, query: str) -> Rows:
        """Begin to answer one statement; UsageError where it is not one question or cannot be answered."""
        statement = self._only_statement(query)
        clock = Clock(self.con, self.limits, self._pool)
        reader = self._guarded(clock, statement, lambda: self.con.sql(statement).to_arrow_reader(PART_ROWS))
        return Rows(reader.schema, self._parts(reader, clock, statement))

    def rows(self, query: str, parameters: list[object] | None = None) -> list[tuple[Any, ...]]:
        """The rows of a query of the house, such as a list of tables; an older publication may lack some."""
        try:
            return self.con.execute(query, parameters or []).fetchall()
        except duckdb.CatalogException:
            return []

    def is_replaced(self) -> bool:
        """Whether a run has published since this door was opened."""
        return self._file_identity() != self._identity

    def close(self) -> None:
        """Let go of the publication."""
        self._pool.shutdown(wait=False)
        self.con.close()

    def __enter__(self) -> Door:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def _parts(self, reader: Any, clock: Clock, statement: str) -> Iterator[pa.Table]:
        """The rows as they come, small batches put together."""
        while batches := self._guarded(clock, statement, lambda: _next_batches(reader)):
            yield pa.Table.from_batches(batches, reader.schema)

    def _guarded(self, clock: Clock, statement: str, work: Callable[[], Any]) -> Any:
        """Within the limits; whatever DuckDB or Arrow raise becomes a message that shows the place."""
        gb = self.limits.memory_gb
        with memory_ceiling(gb) if gb > 0 else nullcontext():
            try:
                return clock.run(work)
            except (duckdb.Error, pa.ArrowException, OSError, MemoryError) as error:
                raise UsageError(self._message(error, clock, statement)) from error

    def _message(self, error: Exception, clock: Clock, statement: str) -> str:
        text = str(error)
        if clock.rang:
            return clock.message
        if isinstance(error, MemoryError) or "Out of Memory" in text or "bad allocation" in text:
            return (
                f"the query needs more memory than {self.limits.memory_gb:g} GB (setting sql_memory_limit_gb); "
                "ask for fewer rows or columns, or aggregate them"
            )
        if isinstance(error, duckdb.PermissionException):
            return f"no file, network or extension can be reached from here ({text.strip()})"
        if isinstance(error, FOUND_AT_BINDING):
            text = self._with_place(statement) or text
        return text.strip()

    def _with_place(self, statement: str) -> str | None:
        """The same error with the line and the place marked; a question that cannot be bound never runs."""
        try:
            self.con.execute(statement)
        except duckdb.Error as error:
            return str(error)
        return None

    def _only_statement(self, query: str) -> str:
        try:
            statements = self.con.extract_statements(query)
        except duckdb.Error as error:
            raise UsageError(str(error).strip()) from error
        statements = [s for s in statements if re.sub(r"--[^\n]*", "", s.query).strip(" \t\r\n;")]
        if not statements:
            raise UsageError(f"the query is empty; {ONE_QUESTION}")
        if len(statements) > 1:
            raise UsageError(
                f"{len(statements)} statements; {ONE_QUESTION}{_place_of_second(query, statements)}"
            )
        kind = statements[0].type.name
        if kind not in ANSWERED:
            raise UsageError(f"{kind} is not answered here; {ONE_QUESTION}")
        return query

    def _file_identity(self) -> tuple[int, int]:
        try:
            status = os.stat(self.published)
        except FileNotFoundError:
            return (0, 0)
        return (status.st_ino, status.st_mtime_ns)


def _next_batches(reader: Any) -> list[pa.RecordBatch]:
    """The next batches with PART_ROWS rows in all, fewer at the end, none after it."""
    batches: list[pa.RecordBatch] = []
    while sum(batch.num_rows for batch in batches) < PART_ROWS:
        batch = next(reader, None)
        if batch is None:
            break
        batches.append(batch)
    return batches


def _place_of_second(query: str, statements: list[Any]) -> str:
    """The line where the second statement begins, with a caret under it."""
    at = len(statements[0].query)
    at += len(query[at:]) - len(query[at:].lstrip())
    line_no = query.count("\n", 0, at) + 1
    begin = query.rfind("\n", 0, at) + 1
    line = query[begin:].split("\n", 1)[0]
    head = f"LINE {line_no}: "
    return f"\n\n{head}{line}\n{' ' * (len(head) + at - begin)}^"
