"""The prompt: lines until `;`, plain words at once, history kept in DIR, names completed with Tab.

Without a terminal (lines through a pipe) it reads the same language and shows no prompt. One error does not end it.
"""

from __future__ import annotations

import contextlib
import importlib.util
import re
import sys
from pathlib import Path
from typing import Any, TextIO

from pipeline.errors import UsageError
from pipeline.query.door import Door
from pipeline.query.words import HELP, examples, respond
from pipeline.warehouse import TABLES

# Where Python was built without it there is no history and no completion.
readline: Any = importlib.import_module("readline") if importlib.util.find_spec("readline") else None

HISTORY_LINES = 1000
HISTORY_NAME = ".sql_history"
COMMANDS = ("tables", "columns", "macros", "examples", "example", "reopen", "help", "quit")
KEYWORDS = (
    "SELECT", "FROM", "WHERE", "GROUP BY ALL", "ORDER BY", "LIMIT", "HAVING", "JOIN", "LEFT JOIN", "USING", "WITH",
    "AS", "AND", "OR", "NOT", "IN", "IS NULL", "BETWEEN", "CASE", "WHEN", "THEN", "ELSE", "END", "FILTER",
    "DISTINCT", "UNION ALL", "PIVOT", "DESCRIBE", "SUMMARIZE", "count(*)", "avg", "median", "sum", "min", "max",
    "quantile_cont", "round", "date_trunc", "month", "year",
)  # fmt: skip


class Prompt:
    """Reads questions from `source` and answers on `out`."""

    def __init__(self, published: Path, format_: str, source: TextIO, out: TextIO) -> None:
        self.published = published
        self.format = format_
        self.source = source
        self.out = out
        self.talks = source.isatty()
        self.door = Door(published)
        self._told = False

    def run(self) -> int:
        """Answer until `quit` or the end of the input. Status 2 if lines through a pipe held an error."""
        status = 0
        if self.talks:
            self._begin()
        try:
            while (question := self._next()) is not None:
                if question.lower().rstrip(";") in ("quit", "exit"):
                    break
                if not self._answer(question) and not self.talks:
                    status = 2
        finally:
            if self.talks:
                self._keep_history()
            self.door.close()
        return status

    def _answer(self, question: str) -> bool:
        """Answer one question; False where all that could be said was an error."""
        try:
            self._tell_of_new()
            self._say(question)
        except UsageError as error:
            self.out.flush()
            sys.stderr.write(f"{error}\n")
            sys.stderr.flush()
            return False
        except KeyboardInterrupt:
            self.out.write("\nstopped\n")
        return True

    def _say(self, question: str) -> None:
        if question.lower().rstrip("; ") == "reopen":
            self._reopen()
        else:
            respond(self.door, question, self.format, self.out, show_sql=True)

    def _next(self) -> str | None:
        """The next question: a plain word's line, or lines up to one that ends in `;`. None at the end."""
        lines: list[str] = []
        while True:
            try:
                line = self._line("fleet> " if not lines else "  ...> ")
            except EOFError:
                return "\n".join(lines) if "".join(lines).strip() else None
            except KeyboardInterrupt:  # drops what was typed so far
                self.out.write("\n")
                lines = []
                continue
            if not lines and not line.strip():
                continue
            if not lines and is_command(line):
                return line.strip()
            lines.append(line)
            if re.sub(r"--.*$", "", line).rstrip().endswith(";"):
                return "\n".join(lines)

    def _line(self, asking: str) -> str:
        if self.talks:
            return input(asking)
        line = self.source.readline()
        if not line:
            raise EOFError
        return line.rstrip("\n")

    def _tell_of_new(self) -> None:
        if self.talks and not self._told and self.door.is_replaced():
            self.out.write(
                "(a run has published since; `reopen` reads it, until then answers stay as they were)\n"
            )
            self._told = True

    def _reopen(self) -> None:
        new = Door(self.published)
        self.door.close()
        self.door, self._told = new, False
        ((at,),) = new.rows("SELECT published_at::VARCHAR FROM publication") or [("an unknown time",)]
        self.out.write(f"reading the publication of {at}\n")

    def _begin(self) -> None:
        self.out.write(HELP + "\n")
        if readline is None:
            return
        with contextlib.suppress(OSError):
            readline.read_history_file(self._history)
        readline.set_history_length(HISTORY_LINES)
        readline.set_completer_delims(" \t\n(),;=<>+-*/'\"")
        readline.set_completer(Completer(self.door).complete)
        readline.parse_and_bind("tab: complete")

    def _keep_history(self) -> None:
        if readline is not None:  # a folder that the analyst may only read keeps none
            with contextlib.suppress(OSError):
                readline.write_history_file(self._history)

    @property
    def _history(self) -> Path:
        return self.published.parent / HISTORY_NAME


def is_command(line: str) -> bool:
    """Whether a line is a plain-word command: a word of ours, at most one name after it."""
    words = re.sub(r";\s*$", "", line.strip()).split()
    return bool(words) and len(words) <= 2 and words[0].lower() in (*COMMANDS, "exit", "?")


class Completer:
    """Completes tables, their columns, macros, examples and words of SQL, for readline."""

    def __init__(self, door: Door) -> None:
        ours = "database_name = 'fleet' AND schema_name = 'main'"
        tables = door.rows(f"SELECT table_name FROM ({TABLES})")
        columns = door.rows(f"SELECT DISTINCT column_name FROM duckdb_columns() WHERE {ours}")
        macros = door.rows(f"SELECT DISTINCT function_name FROM duckdb_functions() WHERE {ours}")
        self.tables = sorted(r[0] for r in tables)
        self.names = sorted({r[0] for r in [*tables, *columns, *macros] if not r[0].startswith("_")})
        self._matches: list[str] = []

    def complete(self, text: str, state: int) -> str | None:
        """readline's protocol: the state-th way to go on from `text`, None where there is no more."""
        if state == 0:
            before = readline.get_line_buffer()[: readline.get_begidx()] if readline is not None else ""
            self._matches = self.matches(text, before)
        return self._matches[state] if state < len(self._matches) else None

    def matches(self, text: str, before: str) -> list[str]:
        """Ways to go on from `text`, given what stands before it on the line."""
        if before.strip().lower() == "columns":
            return _beginning(text, self.tables)
        if before.strip().lower() == "example":
            return _beginning(text, [e.name for e in examples()])
        head, dot, tail = text.rpartition(".")  # alias.column
        if dot:
            return [f"{head}.{name}" for name in _beginning(tail, self.names)]
        ours = _beginning(text, COMMANDS) if not before.strip() else []
        words = [w.lower() if text.islower() else w for w in _beginning(text, KEYWORDS)]
        return [*ours, *_beginning(text, self.names), *words]


def _beginning(text: str, names: tuple[str, ...] | list[str]) -> list[str]:
    return [name for name in names if name.lower().startswith(text.lower())]
