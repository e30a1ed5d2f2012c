"""Commands in plain words, at the prompt and in the place of a query: tables, columns NAME, examples, example NAME."""

from __future__ import annotations

import difflib
import re
import sys
import textwrap
from dataclasses import dataclass
from functools import cache
from typing import TextIO

from pipeline.catalog import all_tables
from pipeline.errors import UsageError
from pipeline.query.door import Door, Rows
from pipeline.query.formats import write_rows
from pipeline.warehouse import SQL_DIR, TABLES

COMMANDS = ("tables", "columns", "macros", "examples", "example", "help")
# Texts that a question compares something with: = 'x', <> 'x', IN ('x', 'y').
COMPARED = re.compile(r"(?:=|<>|\bIN\s*\()\s*((?:'[^']*'\s*,?\s*)+)", re.IGNORECASE)
HELP = """\
Ask in SQL (DuckDB's), one question at a time, ended by ; at the prompt. The tables are read-only.

  tables          the tables and what each holds
  columns NAME    the columns of a table: type, unit, meaning
  macros          functions for the trade: tesp, to_inwc, prob_over, theil_sen_slope and others
  examples        questions that have been asked before
  example NAME    one of them, and its answer
  reopen          read the newest publication (a run may have published since)
  help            this
  quit            leave (Ctrl-D too; Ctrl-C stops a query)

A NULL is shown empty. Numbers in a table show six digits; csv, json and parquet have them all.
Findings on technicians are reasons to coach, never proof of fault: look at n and the interval.
"""


@dataclass(frozen=True)
class Example:
    """One file of `sql/examples/`: its name, the question in its first comment, and the SQL."""

    name: str
    question: str
    sql: str


@cache
def examples() -> tuple[Example, ...]:
    """The examples by name. The question is the file's leading comment."""
    found = []
    for path in sorted((SQL_DIR / "examples").glob("*.sql")):
        text = path.read_text(encoding="utf-8")
        lines = text.splitlines()
        comment = [line for line in lines[: _code_begins(lines)] if line.startswith("--")]
        found.append(Example(path.stem, " ".join(line.lstrip("- ") for line in comment), text))
    return tuple(found)


def _code_begins(lines: list[str]) -> int:
    return next((i for i, line in enumerate(lines) if line and not line.startswith("--")), len(lines))


def example(name: str) -> Example:
    """One example; UsageError with the nearest name where there is none."""
    by_name = {e.name: e for e in examples()}
    if name not in by_name:
        near = difflib.get_close_matches(name, by_name, n=1)
        hint = f"; did you mean {near[0]}?" if near else "; `examples` lists them"
        raise UsageError(f"there is no example called {name!r}{hint}")
    return by_name[name]


def command(door: Door, line: str) -> str | None:
    """What a plain-word command says, or None where the line is no such command (so it is SQL)."""
    words = line.strip().rstrip(";").split()
    match [w.lower() for w in words[:1]] + words[1:]:
        case ["tables"]:
            return _tables(door)
        case ["columns", name]:
            return _columns(door, name)
        case ["columns"]:
            raise UsageError("columns of which table? For instance: columns site_static")
        case ["macros"]:
            return _macros(door)
        case ["examples"]:
            return _listed([(e.name, e.question) for e in examples()])
        case ["help" | "?"]:
            return HELP
    return None


def respond(door: Door, question: str, format_: str, out: TextIO, *, show_sql: bool = False) -> None:
    """Answer a question or a plain-word command on `out`; of an example, its SQL first where that is wanted."""
    match question.strip().rstrip("; ").split():
        case [word, name] if word.lower() == "example":
            question = example(name).sql
            if show_sql:
                out.write(f"{question.rstrip()}\n\n")
        case [word] if word.lower() == "example":
            raise UsageError("which example? `examples` lists them")
    said = command(door, question)
    if said is None:
        for note in notes(question):
            sys.stderr.write(f"note: {note}\n")
        write_rows(_asked(door, question), format_, out)
    else:
        out.write(said)
    out.flush()


@cache
def _words() -> frozenset[str]:
    """All words that columns of the tables hold."""
    columns = (column for table in all_tables().values() for column in table.columns)
    return frozenset(word for column in columns for word in column.words)


def notes(question: str) -> list[str]:
    """Words of a question that no column holds as they are written, but in small letters and joined by _."""
    found = []
    texts = (text for part in COMPARED.findall(question) for text in re.findall("'([^']*)'", part))
    for text in dict.fromkeys(texts):
        meant = "_".join(re.split(r"[\s_-]+", text.strip().lower()))
        if text not in _words() and meant in _words():
            found.append(f"no column holds the word '{text}'; it is written '{meant}'")
    return found


def _asked(door: Door, question: str) -> Rows:
    """The answer to a question; where it is not SQL but begins like a plain-word command, the error names that."""
    try:
        return door.ask(question)
    except UsageError as error:
        word = question.split(maxsplit=1)[0].rstrip(";") if question.strip() else ""
        near = difflib.get_close_matches(word.lower(), COMMANDS, n=1)
        if near and str(error).startswith("Parser Error"):
            raise UsageError(
                f"there is no command {word!r}; did you mean {near[0]}? `help` lists them"
            ) from error
        raise


def _tables(door: Door) -> str:
    return _listed(door.rows(f"SELECT table_name, comment FROM ({TABLES}) ORDER BY table_name"))


def _columns(door: Door, table: str) -> str:
    rows = door.rows(
        "SELECT c.column_name, c.data_type, c.comment FROM duckdb_columns() AS c "
        "WHERE c.database_name = 'fleet' AND c.schema_name = 'main' AND c.table_name = ? ORDER BY c.column_index",
        [table.lower()],
    )
    if not rows:
        names = [r[0] for r in door.rows(f"SELECT table_name FROM ({TABLES})")]
        near = difflib.get_close_matches(table.lower(), names, n=1)
        raise UsageError(f"there is no table {table!r}" + (f"; did you mean {near[0]}?" if near else ""))
    said = door.rows(
        f"SELECT comment FROM ({TABLES}) WHERE table_name = ?",
        [table.lower()],
    )
    return f"{said[0][0] or ''}\n\n" + _listed(
        [(f"{name} {_short(kind)}", text) for name, kind, text in rows]
    )


def _short(kind: str) -> str:
    return "TIMESTAMPTZ" if kind == "TIMESTAMP WITH TIME ZONE" else kind


def _macros(door: Door) -> str:
    return _listed(
        door.rows(
            "SELECT function_name || '(' || array_to_string(parameters, ', ') || ')', comment "
            "FROM duckdb_functions() WHERE database_name = 'fleet' AND NOT internal "
            "AND function_name NOT LIKE '\\_%' ESCAPE '\\' ORDER BY 1"
        )
    )


def _listed(rows: list[tuple[str, str]]) -> str:
    """Names with their texts, wrapped under each other."""
    return "".join(
        f"{name}\n{textwrap.indent(textwrap.fill(text or '', 96), '    ')}\n" for name, text in rows
    )
