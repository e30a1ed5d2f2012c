"""A small look at a file's beginning: separator and column names.

What does not belong here: reading rows (`reader.py`) and what the names mean (`mapping.py`).
"""

from __future__ import annotations

import csv
from dataclasses import dataclass
from pathlib import Path

from pipeline.errors import UsageError

SEPARATORS = (",", ";", "\t")
LOOK = 1 << 16


@dataclass(frozen=True)
class Header:
    """The first row: `names` as written (trimmed), and how the file separates its values."""

    names: tuple[str, ...]
    separator: str

    @property
    def decimal_comma(self) -> bool:
        """A comma can be a decimal mark only where it does not separate values."""
        return self.separator != ","


def read_header(text: Path, name: str, separator: str | None = None) -> Header:
    """The header of the file at `text`; `name` is what messages call it."""
    with text.open("rb") as file:
        beginning = file.read(LOOK)
    if beginning.startswith((b"\xff\xfe", b"\xfe\xff")):
        raise UsageError(f"{name}: is UTF-16; expected UTF-8 (save it again as CSV UTF-8)")
    decoded = beginning.decode("utf-8-sig", errors="replace")
    separator = separator or _separator(decoded)
    rows = csv.reader(decoded.splitlines(keepends=True), delimiter=separator)
    names = tuple(n.strip() for n in next((r for r in rows if r), []))
    if not any(names):
        raise UsageError(f"{name}:1: no header row; expected column names")
    _refuse_duplicates(names, name)
    return Header(names, separator)


def _separator(text: str) -> str:
    """The separator that the header row holds most of, outside quotes."""
    line = next((x for x in text.splitlines() if x.strip()), "")
    outside = "".join(part for i, part in enumerate(line.split('"')) if i % 2 == 0)
    return max(SEPARATORS, key=outside.count)


def _refuse_duplicates(names: tuple[str, ...], file: str) -> None:
    seen: dict[str, int] = {}
    for place, name in enumerate(names, start=1):
        key = name.casefold()
        if name and key in seen:
            raise UsageError(
                f"{file}:1: column name {name!r} stands twice (columns {seen[key]} and {place}); expected each name once"
            )
        seen[key] = place
