"""A mapping to start from, written where a foreign export lacks columns: what it has, and guesses to be checked.

What does not belong here: reading a mapping (`mapping.py`).
"""

from __future__ import annotations

import json
import re
from collections.abc import Sequence
from difflib import SequenceMatcher
from pathlib import Path

from pipeline.load.inputs import BY_NAME, Column
from pipeline.load.layout import Layout

START_NAME = "mapping_to_start_from.toml"
CLOSE_ENOUGH = 0.6

BEGINNING = """\
# A mapping to start from: it tells fleet-static what another export calls things. Check every guess, fill in what is
# empty, take the # off the lines that you need, and run again with --mapping FILE.

# decimal_comma = true
# time_zone = "America/Chicago"       # of times that are written without a UTC offset
# date_format = "%d.%m.%Y"
# time_format = "%d.%m.%Y %H:%M"
# pressure_unit = "pa"                # inwc, pa or mmwc, for rows that name none
# return_sign = "magnitude"           # if return static is written without its minus sign
# encoding = "windows-1252"
"""


def write_start(
    path: Path, layouts: list[Layout], strangers: list[Path], options: Sequence[str] = ()
) -> None:
    """Write the mapping for files that lack required columns, or whose dates cannot be read, and for files that belong
    to no table. `options` are lines that explain how dates are written; two that contradict each other are left to the
    reader."""
    sure = len({option.split(" = ")[0] for option in options}) == len(options)
    guesses = [f"{'' if sure else '# '}{option}  # a guess, from the files' dates" for option in options]
    parts = [BEGINNING, *guesses, "", "[files]"]
    parts += [f"# {table} = [{json.dumps(_pattern(s))}]" for s in strangers for table in ("visits",)]
    tables: dict[str, Layout] = {}
    for layout in layouts:
        tables.setdefault(layout.table.name, layout)
    for name in BY_NAME:
        if name in tables:
            parts += ["", *_columns(tables[name])]
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text("\n".join(parts) + "\n", encoding="utf-8")


def _pattern(path: Path) -> str:
    return re.sub(r"[0-9]+", "*", path.name)


def _columns(layout: Layout) -> list[str]:
    names = [n for n in layout.header.names if n]
    guesses = _guess(layout, names)
    lines = [
        f"# columns of the file: {json.dumps(names, ensure_ascii=False)}",
        f"[columns.{layout.table.name}]",
    ]
    for column in layout.table.columns:
        if column.name in layout.places:
            continue
        guess = guesses.get(column.name)
        lead = "" if guess is not None else "# "
        kind = "required" if column.required else "may be absent"
        theirs = json.dumps(guess or "", ensure_ascii=False)
        lines.append(
            f"{lead}{column.name} = {theirs}  # {'a guess; ' if guess else ''}{kind}: {column.meaning}"
        )
    words = [c for c in layout.table.columns if c.words or c.kind == "flag"]
    for column in words:
        lines.append(f"# [values.{layout.table.name}.{column.name}]")
        lines.append(f'# "their word" = "{(column.words or ("true",))[0]}"  # expected {column.expected}')
    return lines


def _guess(layout: Layout, names: list[str]) -> dict[str, str]:
    """The most alike pairs of a contract column and a name of the file, each name used once."""
    taken = {layout.header.names[i] for i in layout.places.values()}
    columns = [c for c in layout.table.columns if c.name not in layout.places]
    pairs = sorted(
        ((_alike(c, n), c.name, n) for c in columns for n in names if n not in taken),
        key=lambda p: (-p[0], p[1:]),
    )
    guesses: dict[str, str] = {}
    for likeness, column, name in pairs:
        if likeness >= CLOSE_ENOUGH and column not in guesses and name not in guesses.values():
            guesses[column] = name
    return guesses


def _alike(column: Column, name: str) -> float:
    theirs = " ".join(re.findall(r"[^\W_]+", name.casefold()))
    ours = column.name.replace("_", " ")
    return max(
        SequenceMatcher(None, ours, theirs).ratio(), SequenceMatcher(None, column.meaning, theirs).ratio()
    )
