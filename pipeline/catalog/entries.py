"""The catalog as typed objects: read from `tables/*.toml`, the input tables and the check files."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path
from typing import Any

from pipeline.checks import all_checks
from pipeline.errors import StageError
from pipeline.load.inputs import BY_NAME, MADE_OF_VISITS, Column, Table

TABLES_DIR = Path(__file__).with_name("tables")
LONG_TYPE = {"TIMESTAMPTZ": "TIMESTAMP WITH TIME ZONE"}
SETTING = re.compile(r"getvariable\('(\w+)'\)")
NEEDED = ("meaning", "key", "columns")  # of a table that is no input; key = [] where rows have none
KNOWN_FIELDS = {"type", "unit", "meaning", "source", "words", "empty"}


@dataclass(frozen=True)
class ColumnEntry:
    """One published column. `words`: its only values; `empty`: what NULL says, '' where never NULL."""

    name: str
    type: str
    meaning: str
    unit: str = ""
    source: str = ""
    words: tuple[str, ...] = ()
    empty: str = ""

    @property
    def text(self) -> str:
        """Meaning, words and what NULL says, in one line."""
        parts = [self.meaning]
        if self.words:
            parts.append(("one of: " if len(self.words) > 2 else "") + " | ".join(self.words))
        if self.empty and "empty:" not in self.meaning:
            parts.append(f"empty: {self.empty}")
        return "; ".join(parts)

    @property
    def comment(self) -> str:
        """The line above with unit and source, as it is put on the column in the published file."""
        unit = f" [{self.unit}]" if self.unit else ""
        source = f" (source: {self.source})" if self.source else ""
        return f"{self.text}{unit}{source}"


@dataclass(frozen=True)
class TableEntry:
    """One published table. `key` columns together are unique; () where rows have no key."""

    name: str
    meaning: str
    key: tuple[str, ...]
    columns: tuple[ColumnEntry, ...]
    optional: bool = False

    @property
    def comment(self) -> str:
        """Meaning and key, as it is put on the table in the published file."""
        return f"{self.meaning} Key: {', '.join(self.key)}." if self.key else self.meaning

    def column(self, name: str) -> ColumnEntry:
        """The entry of a column; StageError where the table has none of this name."""
        for column in self.columns:
            if column.name == name:
                return column
        raise StageError(f"the catalog knows no column {self.name}.{name}")


@cache
def all_tables() -> Mapping[str, TableEntry]:
    """Every table of the catalog by its name."""
    return {path.stem: table_entry(path.stem) for path in sorted(TABLES_DIR.glob("*.toml"))}


@cache
def table_entry(name: str) -> TableEntry:
    """The entry of one table; StageError where the catalog has none, or an entry cannot be understood."""
    path = TABLES_DIR / f"{name}.toml"
    try:
        stated = tomllib.loads(path.read_text(encoding="utf-8"))
    except (OSError, tomllib.TOMLDecodeError) as error:
        raise StageError(f"the catalog's entry of the table {name} cannot be read: {error}") from error
    if "input" in stated:
        table = BY_NAME[stated["input"]]
        return TableEntry(name, stated["meaning"], table.key, input_columns(table))
    if missing := [field for field in NEEDED if field not in stated]:
        raise StageError(f"the catalog's entry of the table {name} lacks {', '.join(missing)}")
    columns = [column_entry(name, column, fields) for column, fields in stated["columns"].items()]
    if stated.get("checks"):
        columns += check_columns()
    return TableEntry(
        name, stated["meaning"], tuple(stated["key"]), tuple(columns), stated.get("optional", False)
    )


def column_entry(table: str, name: str, fields: Mapping[str, Any]) -> ColumnEntry:
    """One column as its line states it: fields of its own, or `from` the table that has the same column."""
    if set(fields) == {"from"}:
        return table_entry(fields["from"]).column(name)
    if unknown := set(fields) - KNOWN_FIELDS:
        raise StageError(
            f"the catalog's entry of {table}.{name} has unknown fields: {', '.join(sorted(unknown))}"
        )
    if missing := [field for field in ("type", "meaning") if field not in fields]:
        raise StageError(f"the catalog's entry of {table}.{name} lacks {', '.join(missing)}")
    entry = ColumnEntry(name, fields["type"], fields["meaning"])
    return replace(
        entry,
        unit=fields.get("unit", ""),
        source=fields.get("source", ""),
        words=tuple(fields.get("words", ())),
        empty=fields.get("empty", ""),
    )


def input_columns(table: Table) -> tuple[ColumnEntry, ...]:
    """The columns of a cleaned input table, as `pipeline/load/inputs.py` describes them."""
    columns = [input_column(table, column) for column in table.columns]
    if table.name == "visits":
        columns += [
            ColumnEntry(
                name,
                sql_type,
                meaning,
                unit,
                "made while loading",
                empty="" if name == "visited_on" else "no such text",
            )
            for name, sql_type, meaning, unit in MADE_OF_VISITS
        ]
    return tuple(columns)


def input_column(table: Table, column: Column) -> ColumnEntry:
    """One input column, with what stands for an empty value."""
    meaning = column.meaning
    if column.default is not None:
        setting = SETTING.search(column.default)
        stand_in = f"the setting {setting[1]}" if setting else column.default.replace("'", "")
        meaning = f"{meaning}; {stand_in} where the drop has none"
    never_null = column.required or column.default is not None
    return ColumnEntry(
        column.name,
        LONG_TYPE.get(column.sql_type, column.sql_type),
        meaning,
        column.unit,
        f"drop, table {table.name}",
        column.words,
        "" if never_null else "not recorded",
    )


def check_columns() -> list[ColumnEntry]:
    """Two columns a check of technician_practice: how many visits it found, and their share."""
    columns = []
    for check in all_checks():
        found = f"the check {check.check_id} found: {check.title[0].lower()}{check.title[1:]}"
        columns += [
            ColumnEntry(f"{check.check_id}_n", "BIGINT", f"visits where {found}", "visits"),
            ColumnEntry(f"{check.check_id}_rate", "DOUBLE", f"share of n_visits where {found}", "share"),
        ]
    return columns
