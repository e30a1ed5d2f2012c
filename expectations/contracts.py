"""What the loaded tables must hold, before anything is computed from them.

Keys, required columns, words and bounds are made from the one description of the input (`pipeline/load/inputs.py`);
references and the gate's own rules are files in `sql/gate/`. The load stage has rejected each row that breaks one of
the former, by file and line: they are held here once more, of all that was loaded.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path

from expectations.rules import Rule, together
from pipeline.errors import StageError
from pipeline.load.inputs import TABLES, Column, Table
from pipeline.warehouse import SQL_DIR

HEADER = re.compile(r"^-- (rule|table|rows|scope): (.+)$", re.MULTILINE)


def rules_in(folder: str, *, after_a_day: bool = False) -> list[Rule]:
    """The rules written as files: `sql/<folder>/*.sql`, each with its `-- rule:` and `-- table:` on top, and `-- scope:
    equipment` where it compares rows of one piece of equipment only. A file of the same name in `sql/<folder>/screens`
    is its screen, one in `screens_of_day` that of a day's drop, which rests on what was held to the rule before."""
    return [_read(path, after_a_day) for path in sorted((SQL_DIR / folder).glob("*.sql"))]


def _read(path: Path, after_a_day: bool) -> Rule:
    text = path.read_text(encoding="utf-8")
    header = dict(HEADER.findall(text))
    missing = {"rule", "table"} - header.keys()
    if missing:
        raise StageError(f"sql/{path.parent.name}/{path.name}: the header lacks {', '.join(sorted(missing))}")
    sentences = header.get("rows") == "sentences"
    screen, of_day = (path.parent / screens / path.name for screens in ("screens", "screens_of_day"))
    of_changed = after_a_day and of_day.exists()
    if of_changed:
        screen = of_day
    return Rule(
        header["rule"],
        header["table"],
        text.strip().rstrip(";"),
        sentences=sentences,
        screen=screen.read_text(encoding="utf-8") if screen.exists() else None,
        by_equipment=header.get("scope") == "equipment",
        asked="changed" if of_changed else "all",
    )


def loaded_rules(ask: Callable[[Rule], Rule] = lambda rule: rule) -> list[Rule]:
    """The contracts of the loaded tables, in the order of the tables; `ask` says of which rows a rule is asked."""
    rules, single = rules_in("gate"), []
    for table in TABLES:
        rules.append(unique(table.cleaned, table.key))
        of_rows = [_filled(table, column) for column in table.columns if column.required]
        of_rows += [_words(table, column) for column in table.columns if column.words]
        of_rows += [_range(table, column) for column in table.columns if column.bounded]
        rules += of_rows
        single += of_rows
    screened = dict(zip(single, together([ask(rule) for rule in single]), strict=True))
    return [screened.get(rule) or ask(rule) for rule in rules]


def key_text(key: tuple[str, ...]) -> str:
    """SQL for a key in words."""
    return "concat_ws(' ', " + ", ".join(key) + ")"


def unique(table_name: str, key: tuple[str, ...]) -> Rule:
    """No two rows share `key`."""
    return Rule(
        f"{', '.join(key)} is unique",
        table_name,
        f"SELECT {key_text(key)} AS what FROM {table_name} GROUP BY {', '.join(key)} HAVING count(*) > 1",
    )


def in_list(table_name: str, key: tuple[str, ...], column: str, words: tuple[str, ...]) -> Rule:
    """`column` is empty or one of `words`."""
    listed = ", ".join(f"'{w}'" for w in words)
    return Rule(
        f"{column} is one of {', '.join(words)}",
        table_name,
        f"SELECT {key_text(key)} || ': ' || {column} AS what FROM {table_name} "
        f"WHERE {column} NOT IN ({listed})",
    )


def _filled(table: Table, column: Column) -> Rule:
    return Rule(
        f"{column.name} is filled",
        table.cleaned,
        f"SELECT {key_text(table.key)} AS what FROM {table.cleaned} WHERE {column.name} IS NULL",
    )


def _words(table: Table, column: Column) -> Rule:
    return in_list(table.cleaned, table.key, column.name, column.words)


def _range(table: Table, column: Column) -> Rule:
    return Rule(
        f"{column.name} lies in {'0 or ' if column.or_zero else ''}{column.range} {column.unit}",
        table.cleaned,
        f"SELECT {key_text(table.key)} || ': ' || {column.name} AS what FROM {table.cleaned} WHERE {column.outside}",
    )
