"""Questions put to a published file: one .sql file of `sql/reports/` each, its rows as they came.

What belongs here: running a query with its variables, and remembering which were asked, so that a page can say where
each figure comes from. What does not: any computation on the rows; a figure that is missing is a query to write.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import date, datetime
from pathlib import Path
from typing import Any

import duckdb
import polars as pl

from pipeline.errors import StageError
from pipeline.warehouse import SQL_DIR, open_published

KEPT_ROWS = 200
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
        rows = [[plain(value) for value in row] for row in self.frame.iter_rows()]
        return {"columns": self.frame.columns, "rows": rows}


def plain(value: Any) -> Any:
    """A value as JSON can hold it; a float keeps its full precision, one that is no number becomes nothing."""
    if isinstance(value, float) and not math.isfinite(value):
        return None
    return value.isoformat() if isinstance(value, date | datetime) else value


@dataclass
class Published:
    """An open published file, and every result that was taken from it, by key."""

    con: duckdb.DuckDBPyConnection
    results: dict[str, Result] = field(default_factory=dict)
    answered: dict[str, pl.DataFrame] = field(default_factory=dict)  # small ones, by question

    @classmethod
    def open(cls, path: Path) -> Published:
        return cls(open_published(path))

    def rows(self, query: str, key: str | None = None, **variables: Any) -> Result:
        """Run `sql/reports/<query>.sql` with its variables set (getvariable('name') in the file).

        What is published does not change: a small answer is kept for the next page that asks the same.
        """
        asked = f"{query} {sorted(variables.items())}"
        if asked not in self.answered:
            frame = self._ask(query, variables)
            if frame.height > KEPT_ROWS:
                return self._remember(key or query, query, variables, frame)
            self.answered[asked] = frame
        return self._remember(key or query, query, variables, self.answered[asked])

    def _remember(self, key: str, query: str, variables: dict[str, Any], frame: pl.DataFrame) -> Result:
        self.results[key] = Result(key, query, variables, frame)
        return self.results[key]

    def _ask(self, query: str, variables: dict[str, Any]) -> pl.DataFrame:
        file = SQL_DIR / "reports" / f"{query}.sql"
        sql = file.read_text(encoding="utf-8")
        try:
            for name, value in variables.items():
                self.con.execute(f"SET VARIABLE {name} = CAST(? AS {SQL_TYPES[type(value)]})", [value])
            frame: pl.DataFrame = self.con.sql(sql.rstrip().removesuffix(";")).pl()
        except duckdb.Error as error:
            raise StageError(f"sql/reports/{file.name} broke: {error}\n--- the query was:\n{sql}") from error
        return frame

    def forget(self, *kept: str) -> None:
        """Start a new page: results of earlier pages are let go, but for those named."""
        self.results = {key: result for key, result in self.results.items() if key in kept}

    def close(self) -> None:
        self.con.close()
