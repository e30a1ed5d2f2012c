"""A small look at a file's beginning: separator and column names.

What does not belong here: reading rows (`reader.py`) and what the names mean (`mapping.py`).
"""

from __future__ import annotations

import csv
import io
import re
from dataclasses import dataclass
from pathlib import Path

from pipeline.errors import UsageError
from pipeline.load.escape import shown

SEPARATORS = (",", ";", "\t")
LOOK = 1 << 16
UTF_8 = "utf-8-sig"  # with or without a byte order mark


@dataclass(frozen=True)
class Header:
    """The first row: `names` as written (trimmed), and how the file separates its values."""

    names: tuple[str, ...]
    separator: str = ","


def read_header(text: Path, name: str, separator: str | None = None, encoding: str = UTF_8) -> Header:
    """The header of the file at `text`; `name` is what messages call it."""
    with text.open("rb") as file:
        beginning = file.read(LOOK) + file.readline()  # a longer header is read whole
    decoded = beginning.decode(encoding, errors="replace")
    separator = separator or _separator(decoded)
    rows = csv.reader(io.StringIO(decoded, newline=""), delimiter=separator, strict=True)
    try:
        names = tuple(n.strip() for n in next((r for r in rows if any(r)), []))
    except csv.Error as error:
        raise UsageError(
            f"{name}:1: the header row has faulty quotes ({error}), expected column names"
        ) from error
    if not any(names):
        raise UsageError(f"{name}:1: is empty, expected a header row with column names")
    if "\0" in "".join(names):
        raise UsageError(f"{name}:1: the header row holds a NUL byte, expected text")
    _refuse_duplicates(names, name)
    return Header(names, separator)


def _separator(text: str) -> str:
    """The separator that the header row holds most of, outside quotes."""
    outside = ""
    for part in text.lstrip("\ufeff \r\n").split('"')[::2]:
        before, *after = re.split("[\r\n]", part, maxsplit=1)
        outside += before
        if after:
            break
    return max(SEPARATORS, key=outside.count)


def _refuse_duplicates(names: tuple[str, ...], file: str) -> None:
    seen: dict[str, int] = {}
    for place, name in enumerate(names, start=1):
        key = name.casefold()
        if key in seen:
            raise UsageError(
                f"{file}:1: column {shown(name)} stands twice (columns {seen[key]} and {place}), "
                "expected each name once"
            )
        if key:
            seen[key] = place
