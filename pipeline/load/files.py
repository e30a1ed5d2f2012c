"""The files of a drop: which are there, and which table each one belongs to.

What does not belong here: copying and measuring a file (`copying.py`), and what stands inside it (`header.py`).
"""

from __future__ import annotations

import os
import re
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from pipeline.errors import UsageError
from pipeline.load.escape import is_plain, shown
from pipeline.load.inputs import BY_NAME

TEXT_ENDINGS = (".csv", ".tsv", ".txt", "")
ENDINGS = (*TEXT_ENDINGS, ".parquet")
ODD_NAME = "its name holds control characters or is not UTF-8"


@dataclass(frozen=True)
class InputFile:
    """One file of a drop. `folder` is the name of the folder that holds it, `table` the input table it belongs to."""

    path: Path
    name: str
    folder: str
    table: str

    @property
    def packed(self) -> bool:
        return self.name.lower().endswith(".gz")

    @property
    def parquet(self) -> bool:
        return ending_of(self.name) == ".parquet"


@dataclass(frozen=True)
class Found:
    """What the drops hold: files that belong to a table, and readable files that belong to none."""

    files: list[InputFile]
    strangers: list[Path]


def natural_key(name: str) -> tuple[tuple[tuple[int, int, str], ...], str]:
    """Sorts part2 before part10; the name itself breaks ties such as part2 and part02."""
    parts = re.split(r"([0-9]+)", name.casefold())
    return tuple((1, int(p), "") if p.isascii() and p.isdigit() else (0, 0, p) for p in parts), name


def table_of(name: str) -> str | None:
    """The table that a file name begins with: visits_2026-03.csv -> visits."""
    stem = name.lower()
    for table in sorted(BY_NAME, key=len, reverse=True):
        if stem.startswith(table) and not stem[len(table) : len(table) + 1].isalpha():
            return table
    return None


def ending_of(name: str) -> str:
    """The ending that says how to read the file, without .gz."""
    path = Path(name.lower())
    return (path.with_suffix("") if path.suffix == ".gz" else path).suffix


def find_files(
    drops: tuple[Path, ...], named: Callable[[str], str | None], say: Callable[[str], None]
) -> Found:
    """Every file directly in the drops, in natural order; what cannot belong to a table is named and left alone.

    Raises UsageError, a line for each, where a file or its folder has a name that cannot be told.
    """
    found: dict[tuple[str, str], InputFile] = {}
    strangers = []
    odd = []
    for drop in drops:
        for path in _members(drop):
            table, folder = named(path.name), path.absolute().parent.name
            if not (is_plain(path.name) and is_plain(folder)):
                called = shown(path.name if is_plain(folder) else folder)
                if table is None:
                    say(f"{called}: left alone, {ODD_NAME}")
                else:
                    odd.append(f"{called}: {ODD_NAME}, expected a name of plain text; rename it")
            elif path.exists() and not path.is_file():
                kind = "a folder" if path.is_dir() else "no file"
                say(f"{path.name}: left alone, {kind}; only the files directly in a drop are read")
            elif ending_of(path.name) not in ENDINGS:
                if table is not None:
                    say(
                        f"{path.name}: left alone, expected a .csv, .tsv or .txt file (or such a .gz) or .parquet"
                    )
            elif table is None:
                strangers.append(path)
            else:
                file = InputFile(path, path.name, folder, table)
                same = found.setdefault((os.path.realpath(path), table), file)
                if same.name != file.name:
                    say(f"{file.name}: left alone, it is {same.name} by another name")
    if odd:
        raise UsageError("\n".join(dict.fromkeys(odd)))
    order = sorted(found.values(), key=lambda f: (natural_key(f.name), natural_key(f.folder), str(f.path)))
    return Found(order, strangers)


def _members(drop: Path) -> list[Path]:
    if not drop.exists():
        raise UsageError(f"{drop}: no such file or folder; expected a folder of CSV files")
    if not drop.is_dir():
        return [drop]
    try:
        # a link to nothing is a file that cannot be read, and said to be one
        return sorted(p for p in drop.iterdir() if not p.name.startswith("."))
    except OSError as error:
        raise UsageError(f"{drop}: cannot be listed: {error.strerror}") from error
