"""What the published file says about itself: the `dictionary`, a comment on every table, column and macro."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass

import polars as pl

from pipeline.catalog.entries import table_entry
from pipeline.warehouse import SQL_DIR, literal

MACRO = re.compile(r"((?:^-- .*\n)+)CREATE OR REPLACE MACRO (\w+)\(([^)]*)\) AS( TABLE)?", re.MULTILINE)


@dataclass(frozen=True)
class MacroEntry:
    """One macro: its parameters as they stand in its file, its meaning, and its line on units and source."""

    name: str
    parameters: str
    meaning: str
    unit: str
    is_table: bool


def dictionary(names: Iterable[str]) -> pl.DataFrame:
    """Columns table_name, column_name, type, unit, meaning, source of these tables; '' is NULL."""
    rows = [
        (name, c.name, c.type, c.unit or None, c.text, c.source or None)
        for name in names
        for c in table_entry(name).columns
    ]
    names_ = ("table_name", "column_name", "type", "unit", "meaning", "source")
    return pl.DataFrame(rows, schema=dict.fromkeys(names_, pl.String), orient="row")


def comments(kinds: Mapping[str, str], names: Iterable[str], catalog: str) -> Iterator[str]:
    """COMMENT ON statements for these tables and their columns in the attached database `catalog`.

    `kinds` says which of them are a TABLE and which a VIEW.
    """
    for name in names:
        entry = table_entry(name)
        yield f'COMMENT ON {kinds[name]} {catalog}."{name}" IS {literal(entry.comment)}'
        for column in entry.columns:
            yield f'COMMENT ON COLUMN {catalog}."{name}"."{column.name}" IS {literal(column.comment)}'


def macro_comments() -> Iterator[str]:
    """COMMENT ON statements for the macros, made of the comment above each in its file."""
    for macro in all_macros():
        kind = "MACRO TABLE" if macro.is_table else "MACRO"
        yield f"COMMENT ON {kind} {macro.name} IS {literal(f'{macro.meaning} {macro.unit}'.strip())}"


def all_macros() -> list[MacroEntry]:
    """Every macro that analysts may use, in the order of the files; steps (leading underscore) left out."""
    found = []
    for file in sorted((SQL_DIR / "macros").glob("*.sql")):
        for comment, name, parameters, table in MACRO.findall(file.read_text(encoding="utf-8")):
            if not name.startswith("_"):
                found.append(_macro(name, parameters, comment, bool(table)))
    return found


def _macro(name: str, parameters: str, comment: str, is_table: bool) -> MacroEntry:
    lines = [line.removeprefix("-- ") for line in comment.splitlines()]
    at = next((i for i, line in enumerate(lines) if line.startswith("unit:")), len(lines))
    return MacroEntry(
        name, " ".join(parameters.split()), " ".join(lines[:at]), " ".join(lines[at:]), is_table
    )
