"""The files of a drop: which are there, which table each one belongs to, and a private copy of what was read.

A file is copied before it is read, and only the copy is read: what was hashed is what was loaded, whatever happens
to the original meanwhile. What does not belong here: what stands inside a file (`header.py`, `reader.py`).
"""

from __future__ import annotations

import codecs
import gzip
import hashlib
import os
import re
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from pipeline.errors import UsageError
from pipeline.load.inputs import BY_NAME

CHUNK = 1 << 23
TEXT_ENDINGS = {".csv", ".txt", ".tsv", ""}


@dataclass(frozen=True)
class InputFile:
    """One file of a drop. `folder` is the name of the folder that holds it, `table` the input table it belongs to."""

    path: Path
    table: str

    @property
    def name(self) -> str:
        return self.path.name

    @property
    def folder(self) -> str:
        return self.path.absolute().parent.name


@dataclass(frozen=True)
class Copy:
    """What one pass over a file found out. `path` is the copy as it came, `text` the same decompressed."""

    path: Path
    text: Path
    sha256: str
    size: int
    newlines: int
    quotes: int
    returns: int
    nuls: int
    ends_open: bool  # no line break after the last line
    bad_byte: int | None  # place of the first byte that is not UTF-8, counted from 0


def natural_key(name: str) -> tuple[tuple[tuple[int, int, str], ...], str]:
    """Sorts part2 before part10; the name itself breaks ties such as part2 and part02."""
    parts = re.split(r"(\d+)", name.casefold())
    return tuple((1, int(p), "") if p.isdigit() else (0, 0, p) for p in parts), name


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
) -> list[InputFile]:
    """Every usable file directly in the drops; files that belong to no table are named and left alone."""
    found: dict[Path, InputFile] = {}
    for drop in drops:
        for path in _members(drop):
            table = named(path.name)
            if table is None:
                say(f"{path.name}: left alone, its name begins with none of {', '.join(sorted(BY_NAME))}")
            elif ending_of(path.name) not in TEXT_ENDINGS:
                say(f"{path.name}: left alone, only .csv, .tsv, .txt (each also as .gz) files are read")
            else:
                found.setdefault(path.resolve(), InputFile(path, table))
    if not found:
        raise UsageError(
            f"no input file in {', '.join(str(d) for d in drops)}; "
            f"expected files whose names begin with {', '.join(sorted(BY_NAME))}"
        )
    return sorted(found.values(), key=lambda f: (natural_key(f.name), natural_key(f.folder), str(f.path)))


def _members(drop: Path) -> list[Path]:
    if not drop.exists():
        raise UsageError(f"{drop}: no such file or folder; expected a folder of CSV files")
    if drop.is_dir():
        return sorted(p for p in drop.iterdir() if p.is_file() and not p.name.startswith("."))
    return [drop]


def take_copy(source: Path, folder: Path) -> Copy:
    """Copy `source` into `folder`, and measure it on the way (one pass; gzip is unpacked beside the copy)."""
    folder.mkdir(parents=True, exist_ok=True)
    copy = folder / "incoming"
    text = folder / "incoming.text"
    digest = hashlib.sha256()
    measure = _Measure()
    try:
        with source.open("rb") as original, copy.open("wb") as kept:
            while chunk := original.read(CHUNK):
                digest.update(chunk)
                kept.write(chunk)
                size = kept.tell()
                if not source.name.lower().endswith(".gz"):
                    measure.add(chunk)
            os.fsync(kept.fileno())
            size = kept.tell()
        if source.name.lower().endswith(".gz"):
            with gzip.open(copy, "rb") as packed, text.open("wb") as unpacked:
                while chunk := packed.read(CHUNK):
                    unpacked.write(chunk)
                    measure.add(chunk)
        else:
            text = copy
    except (OSError, EOFError) as error:
        raise UsageError(f"{source.name}: cannot be read: {error}") from error
    measure.finish()
    return Copy(
        copy,
        text,
        digest.hexdigest(),
        size,
        measure.newlines,
        measure.quotes,
        measure.returns,
        measure.nuls,
        measure.last not in (b"\n", b"\r"),
        measure.bad_byte,
    )


class _Measure:
    def __init__(self) -> None:
        self.newlines = self.quotes = self.returns = self.nuls = self.seen = 0
        self.last = b"\n"
        self.bad_byte: int | None = None
        self._decoder = codecs.getincrementaldecoder("utf-8")()
        self._pending = 0

    def add(self, chunk: bytes) -> None:
        self.newlines += chunk.count(b"\n")
        self.quotes += chunk.count(b'"')
        self.returns += chunk.count(b"\r")
        self.nuls += chunk.count(b"\0")
        self.last = chunk[-1:]
        self._decode(chunk, final=False)
        self.seen += len(chunk)

    def _decode(self, chunk: bytes, final: bool) -> None:
        if self.bad_byte is None:
            before = len(self._decoder.getstate()[0])
            try:
                self._decoder.decode(chunk, final)
            except UnicodeDecodeError as error:
                self.bad_byte = self.seen - before + error.start

    def finish(self) -> None:
        self._decode(b"", final=True)
