"""Questions put to a published file: one .sql file of `sql/reports/` each, its rows as they came.

What belongs here: running a query with its variables, and remembering which were asked, so that a page can say where
each figure comes from. What does not: any computation on the rows; a figure that is missing is a query to write.

What several queries would look for in a large table is looked for once: `sql/reports/shared/NAME.sql` says it, and the
queries read it as `memory.NAME`.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterator
from concurrent.futures import Future
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import date, datetime
from functools import partial
from pathlib import Path
from threading import Lock
from typing import Any

import duckdb
import polars as pl

from pipeline.catalog import all_tables
from pipeline.catalog.dictionary import all_macros
from pipeline.errors import StageError, UsageError
from pipeline.warehouse import SQL_DIR, open_published

QUERIES = SQL_DIR / "reports"
SHARED = re.compile(r"\bmemory\.(\w+)")
VARIABLE = re.compile(r"\bgetvariable\(\s*'(\w+)'\s*\)", re.IGNORECASE)
KEPT_ROWS = 2000
SQL_TYPES = {int: "BIGINT", float: "DOUBLE", str: "VARCHAR", list: "VARCHAR[]"}


class Row(dict[str, Any]):
    """One row, which knows under which name its query was asked, and its number among the query's rows, from 0."""

    asked_as: str = ""
    number: int = 0


@dataclass(frozen=True)
class Result:
    """The rows of one query. `key` names them on the page; `query` and `variables` say how to ask again."""

    key: str
    query: str
    variables: dict[str, Any]
    frame: pl.DataFrame

    def __iter__(self) -> Iterator[Row]:
        for number, values in enumerate(self.frame.iter_rows(named=True)):
            row = Row(values)
            row.asked_as, row.number = self.key, number
            yield row

    def __len__(self) -> int:
        return self.frame.height

    @property
    def one(self) -> Row:
        """The only row of a query that always has one."""
        (row,) = tuple(self)
        return row

    def one_of(self, column: str) -> Any:
        """A value that every row repeats (a count of all rows before the cap), or None without rows."""
        return self.frame[column][0] if len(self) else None

    def where(self, column: str, value: object) -> list[Row]:
        """The rows with this value, in the query's order."""
        return [row for row in self if row[column] == value]

    def packed(self) -> dict[str, Any]:
        """Columns once and rows as lists, safe for JSON: dates as ISO text."""
        columns = [
            [plain(value) for value in column]
            if column.dtype.is_temporal() or column.dtype.is_float()
            else column
            for column in self.frame
        ]
        return {"columns": self.frame.columns, "rows": list(zip(*columns, strict=True))}


def plain(value: Any) -> Any:
    """A value as JSON can hold it; a float keeps its full precision, one that is no number becomes nothing."""
    if isinstance(value, float) and not math.isfinite(value):
        return None
    return value.isoformat() if isinstance(value, date | datetime) else value


class Made:
    """What the pages of one published file share: made by the thread that asks first, while the others wait for it."""

    def __init__(self) -> None:
        self._lock = Lock()
        self._made: dict[str, Future[Any]] = {}

    def once(self, name: str, make: Callable[[], Any]) -> Any:
        """What `make` returned, or the error that it raised, when it was called first under this name."""
        with self._lock:
            is_first = name not in self._made
            made = self._made.setdefault(name, Future())
        if is_first:
            try:
                made.set_result(make())
            except BaseException as error:
                made.set_exception(error)
        return made.result()

    def forget(self, name: str) -> None:
        """Let go of what was made under this name."""
        with self._lock:
            self._made.pop(name, None)


@dataclass
class Published:
    """A connection to a published file, and every result that was taken over it, by key."""

    con: duckdb.DuckDBPyConnection
    results: dict[str, Result] = field(default_factory=dict)
    made: Made = field(default_factory=Made)  # small answers by question, and the tables that queries share

    @classmethod
    def open(cls, path: Path) -> Published:
        return cls(open_published(path))

    def beside(self) -> Published:
        """Another connection to the same file, for another thread, which begins with the results so far."""
        con = self.con.cursor()
        con.execute("USE fleet")
        return Published(con, dict(self.results), self.made)

    def rows(self, query: str, key: str | None = None, of: int | None = None, **variables: Any) -> Result:
        """Run `sql/reports/<query>.sql` with its variables set (getvariable('name') in the file).

        What is published does not change: a small answer is kept for the next page that asks the same. A list of which
        another page shows more takes its first `top` rows of those `of`.
        """
        asked = variables if of is None else variables | {"top": of}
        frame = self._answer(query, asked)
        result = Result(key or query, query, variables, frame if of is None else frame.head(variables["top"]))
        self.results[result.key] = result
        return result

    def _answer(self, query: str, variables: dict[str, Any]) -> pl.DataFrame:
        asked = f"{query} {sorted(variables.items())}"
        frame: pl.DataFrame = self.made.once(asked, lambda: self._ask(query, variables))
        if frame.height > KEPT_ROWS:
            self.made.forget(asked)
        return frame

    def _ask(self, query: str, variables: dict[str, Any]) -> pl.DataFrame:
        file = QUERIES / f"{query}.sql"
        sql = file.read_text(encoding="utf-8").rstrip().removesuffix(";")
        _hold_to(file, sql, variables)
        for name in SHARED.findall(sql):
            self.made.once(name, partial(self._share, name))
        with self._named(file, sql):
            for name, value in variables.items():
                self.con.execute(f"SET VARIABLE {name} = CAST(? AS {SQL_TYPES[type(value)]})", [value])
            frame: pl.DataFrame = self.con.sql(sql).pl()
        return frame

    def _share(self, name: str) -> None:
        file = QUERIES / "shared" / f"{name}.sql"
        sql = f"CREATE TABLE memory.{name} AS {file.read_text(encoding='utf-8')}"
        _hold_to(file, sql, {})
        with self._named(file, sql):
            self.con.execute(sql)

    @contextmanager
    def _named(self, file: Path, sql: str) -> Iterator[None]:
        """What breaks in the database is said with the file and the SQL; what a publication lacks that another version
        made, as that."""
        try:
            yield
        except (duckdb.BinderException, duckdb.CatalogException) as error:
            if lacking := self._lacking():
                raise UsageError(
                    "the publication was made by another version of fleet-static: it lacks "
                    f"{', '.join(lacking[:3])}{' and more' if len(lacking) > 3 else ''}; the next run makes it anew"
                ) from error
            raise _broken(file, sql, error) from error
        except duckdb.Error as error:
            raise _broken(file, sql, error) from error

    def _lacking(self) -> list[str]:
        """Tables, columns and macros of this version that the file does not have."""
        there = set(
            self.con.sql(
                "SELECT table_name FROM duckdb_columns() WHERE database_name = 'fleet' UNION "
                "SELECT table_name || '.' || column_name FROM duckdb_columns() WHERE database_name = 'fleet' UNION "
                "SELECT function_name FROM duckdb_functions() WHERE database_name = 'fleet'"
            ).fetchall()
        )
        wanted = [macro.name for macro in all_macros()]
        for name, entry in all_tables().items():
            wanted += [] if entry.optional else [name, *(f"{name}.{column.name}" for column in entry.columns)]
        return [name for name in wanted if (name,) not in there]

    def close(self) -> None:
        self.con.close()


def _hold_to(file: Path, sql: str, variables: dict[str, Any]) -> None:
    """Raise where the SQL asks for a variable that is not given: it would be NULL there, and a cap no cap.

    What queries share is made once, for whatever they ask: it has no variables.
    """
    missing = sorted(set(VARIABLE.findall(sql)) - set(variables))
    if missing:
        given = ", ".join(sorted(variables)) or "none"
        said = f"sql/{file.relative_to(SQL_DIR)} asks for {', '.join(missing)}; given: {given}"
        raise StageError(f"{said}\n--- the query was:\n{sql}")


def _broken(file: Path, sql: str, error: duckdb.Error) -> StageError:
    said = f"sql/{file.relative_to(SQL_DIR)} broke: {error}"
    return StageError(f"{said}\n--- the query was:\n{sql}")
