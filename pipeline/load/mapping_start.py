"""A mapping to start from, written where a foreign export lacks columns: what it has, and guesses to be checked.

It says what the mapping that was given says, too, so that nothing is carried over by hand. What does not belong here:
reading a mapping (`mapping.py`), and guessing (`guesses.py`).
"""

from __future__ import annotations

import json
import re
from collections.abc import Mapping as Mapping_
from collections.abc import Sequence
from pathlib import Path

from pipeline.load.guesses import (
    Foreign,
    Stranger,
    beyond_inwc,
    date_options,
    meaning,
    row_unit,
    side_by_side,
    stranger,
    times_lack_offset,
    unit_of,
    writes_magnitude,
)
from pipeline.load.inputs import BY_NAME, VISITS, Column, Table
from pipeline.load.mapping import Mapping, TableMapping

START_NAME = "mapping_to_start_from.toml"

BEGINNING = """\
# A mapping to start from: it tells fleet-static what another export calls things. Check every guess, fill in what is
# empty, take the # off the lines that you need, and run again with --mapping FILE.
"""
# By option of a mapping, the line to choose from where nothing is given and nothing can be guessed.
OPTIONS = {
    "separator": 'separator = "semicolon"     # comma, semicolon or tab, where the file seems to have another',
    "encoding": 'encoding = "windows-1252"',
    "decimal_comma": "decimal_comma = true",
    "time_zone": 'time_zone = "America/Chicago"       # of times that are written without a UTC offset',
    "date_format": 'date_format = "%d.%m.%Y"',
    "time_format": 'time_format = "%d.%m.%Y %H:%M"',
    "pressure_unit": 'pressure_unit = "pa"                # inwc, pa or mmwc, for rows that name none',
    "return_sign": 'return_sign = "magnitude"           # if return static is written without its minus sign',
    "id_prefix": 'id_prefix = "N-"                    # before every id, where another firm uses the same ids',
}
NO_OFFSET = (
    'time_zone = "America/Chicago"  # needed: the times bear no UTC offset, and are read as UTC without it'
)
NO_INWC = 'pressure_unit = "pa"  # needed: such pressures are no in. w.c.; expected pa or mmwc'
SIDE_BY_SIDE = (
    "# heating and cooling seem to stand side by side, which no mapping parts: write a row of its own for each mode, "
    "with\n# a visit_id of its own, before it is given (docs/mapping.md shows how)"
)
MAGNITUDE = 'return_sign = "magnitude"  # a guess: no return static of the first rows is negative'


def write_start(
    path: Path,
    files: Sequence[Foreign],
    strangers: Sequence[Path],
    options: Sequence[str] = (),
    given: Mapping | None = None,
    words: Mapping_[str, Mapping_[str, Sequence[str]]] | None = None,
) -> None:
    """Write the mapping for files that lack required columns, or whose dates cannot be read, and for files that belong
    to no table. `options` are lines that explain how dates are written; two that contradict each other are left to the
    reader. What the mapping in use says (`given`) stays. `words` are those that are not known, by table and column."""
    given, words = given or Mapping(), words or {}
    placed = [(one, one.as_one_of_a_table(given)) for one in (stranger(path, given) for path in strangers)]
    tables: dict[str, Foreign] = {}
    for file in (*files, *(found for _, found in placed if found)):
        tables.setdefault(file.table.name, file)
    encodings = [one.encoding for one, _ in placed if one.encoding]
    parts = [BEGINNING, *_options(given, tables, options, encodings), "", *_files(given, placed)]
    for table in BY_NAME.values():
        if table.name in tables or table.name in words or given.of(table) != TableMapping():
            unknown = words.get(table.name, {})
            parts += ["", *_table(table, given.of(table), tables.get(table.name), unknown)]
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text("\n".join(parts) + "\n", encoding="utf-8")


def _toml(value: object) -> str:
    return json.dumps(value, ensure_ascii=False)


def _options(
    given: Mapping, tables: dict[str, Foreign], dated: Sequence[str], encodings: Sequence[str]
) -> list[str]:
    """A line an option: given, guessed, or to choose from."""
    guessed: dict[str, list[str]] = {}
    for encoding in encodings:
        guessed["encoding"] = [f"encoding = {_toml(encoding)}  # a guess: not every file is UTF-8"]
    for line in dated:
        guessed.setdefault(line.split(" = ")[0], []).append(f"{line}  # a guess, from the files' dates")
    formats = dict.fromkeys(said for one in tables.values() for said in date_options(one))
    for option, form in formats:
        line = f"{option} = {_toml(form)}  # a guess, from the dates of the first rows"
        guessed.setdefault(option, []).append(line)
    for option, lines in guessed.items():
        if len(lines) > 1:
            guessed[option] = [f"# {line}" for line in lines]
    if any(map(times_lack_offset, tables.values())):
        guessed["time_zone"] = [f"# {NO_OFFSET}"]
    if visits := tables.get(VISITS.name):
        guessed |= _habits(visits)
    lines = []
    for option, example in OPTIONS.items():
        said = getattr(given, option)
        if said != getattr(Mapping(), option):
            lines.append(f"{option} = {_toml(said)}")
        else:
            lines += guessed.get(option, [f"# {example}"])
    return lines


def _habits(visits: Foreign) -> dict[str, list[str]]:
    """By option the line on how visits write pressures."""
    found = {}
    if writes_magnitude(visits):
        found["return_sign"] = [MAGNITUDE]
    if "pressure_unit" not in visits.theirs:
        if unit := row_unit(visits):
            found["pressure_unit"] = [f"pressure_unit = {_toml(unit)}  # a guess, from the columns' names"]
        elif beyond_inwc(visits):
            found["pressure_unit"] = [f"# {NO_INWC}"]
    return found


def _files(given: Mapping, placed: list[tuple[Stranger, Foreign | None]]) -> list[str]:
    """The section of files: those given, those guessed, and those of which nothing can be told."""
    lines = ["[files]"]
    patterns = {name: list(said) for name, said in given.files.items()}
    guessed = set()
    for one, found in placed:
        if found and (pattern := _pattern(one.path)) not in patterns.setdefault(found.table.name, []):
            patterns[found.table.name].append(pattern)
            guessed.add(found.table.name)
    for name, said in patterns.items():
        lines.append(f"{name} = {_toml(said)}{'  # a guess' if name in guessed else ''}")
    unknown = {_pattern(one.path): one.names for one, found in placed if found is None}
    if unknown:
        lines.append(f"# each of these belongs to one of {', '.join(BY_NAME)}, or to none:")
        lines += [f"# visits = [{_toml(pattern)}]{_with(names)}" for pattern, names in unknown.items()]
    return lines


def _with(names: list[str]) -> str:
    return f"  # columns: {_toml(names)}" if names else ""


def _pattern(path: Path) -> str:
    return re.sub(r"[0-9]+", "*", path.name)


def _table(
    table: Table, said: TableMapping, one: Foreign | None, unknown: Mapping_[str, Sequence[str]]
) -> list[str]:
    """The sections of one table: what the mapping says of it, what is guessed of a file of it, its unknown words."""
    lines = []
    if one:
        lines.append(f"# columns of the file: {_toml([n for n in one.layout.header.names if n])}")
    if one and table is VISITS and side_by_side(one):
        lines.append(SIDE_BY_SIDE)
    lines.append(f"[columns.{table.name}]")
    for column in table.columns:
        lines += _column(column, said, one)
    units = {name: (unit, "") for name, unit in said.units.items()}
    for name, theirs in one.guessed.items() if one and table is not VISITS else ():
        if unit := unit_of(table.column(name), theirs):
            units.setdefault(name, (unit, "  # a guess, from the column's name"))
    if units:
        lines += [f"[units.{table.name}]", *(f"{n} = {_toml(unit)}{why}" for n, (unit, why) in units.items())]
    if said.constants:
        lines += [f"[constants.{table.name}]", *(f"{n} = {_toml(v)}" for n, v in said.constants.items())]
    for column in table.columns:
        if column.choices:
            lines += _words(
                table, column, said.values.get(column.name, {}), one, unknown.get(column.name, ())
            )
    return lines


def _column(column: Column, said: TableMapping, one: Foreign | None) -> list[str]:
    if column.name in said.columns:
        named = [called[column.name] for called in (said.columns, said.clocks) if column.name in called]
        return [f"{column.name} = {_toml(named if len(named) > 1 else named[0])}"]
    if one is None or column.name in one.layout.places or column.name in said.constants:
        return []
    guess = one.clocks.get(column.name, one.guessed.get(column.name))
    kind = "required" if column.required else "may be absent"
    if guess is None:
        return [f'# {column.name} = ""  # {kind}: {column.meaning}']
    return [f"{column.name} = {_toml(guess)}  # a guess; {kind}: {column.meaning}"]


def _words(
    table: Table, column: Column, said: dict[str, str], one: Foreign | None, unknown: Sequence[str]
) -> list[str]:
    """What the file's words of a column mean: given, guessed, or to be filled in."""
    theirs = one.theirs.get(column.name) if one else None
    found = [*unknown, *(one.looks.words(theirs) if one and theirs else ())]
    ours = column.choices
    lines = [f"{_toml(word)} = {_toml(meant)}" for word, meant in said.items()]
    for word in dict.fromkeys(w.lower() for w in found):
        if word not in (*ours, *said):
            guess = meaning(word, ours)
            line = (
                f'{_toml(word)} = "{guess or ""}"  # {"a guess; " if guess else ""}expected {column.expected}'
            )
            lines.append(line if guess else f"# {line}")
    head = f"[values.{table.name}.{column.name}]"
    if lines:
        return [head, *lines]
    if one is None or found:
        return []
    return [f"# {head}", f'# "their word" = "{ours[0]}"  # expected {column.expected}']
