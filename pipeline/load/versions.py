"""Is this file new? The same file again is not, unless another of its name has come since and it takes that back; nor
is a file that was caught half-written before.

What does not belong here: corrections between different files, which are decided row by row (`resolve.py`).
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from pathlib import Path
from typing import Any, NamedTuple

from pipeline.load.copying import PIECE, Copy
from pipeline.load.files import InputFile, natural_key
from pipeline.load.kept import drops_folder
from pipeline.warehouse import Warehouse


class _Load(NamedTuple):
    """A load of a file of the name in question."""

    load_id: int
    folder: str
    sha256: str
    mapping: str
    size: int  # bytes
    kept: str

    @property
    def place(self) -> tuple[Any, int]:
        return natural_key(self.folder), self.load_id


@dataclass(frozen=True)
class Verdict:
    """`skip` says why a file is not loaded (None: load it); `drop` are loads that it takes the place of; `returns`: it
    was loaded before, and takes back what another of its name said since; `otherwise`: it was loaded by another
    mapping."""

    skip: str | None = None
    drop: tuple[int, ...] = ()
    returns: bool = False
    otherwise: bool = False


def judge(
    warehouse: Warehouse,
    into: Path,
    file: InputFile,
    copy: Copy,
    fingerprint: str,
    *,
    is_last: bool = True,
) -> Verdict:
    """Compare a file with what was loaded under its name. `fingerprint` is that of the mapping; `is_last`: the run
    brings no other file of its name and folder after it.
    """
    named = [
        _Load(*row)
        for row in warehouse.con.execute(
            "SELECT load_id, folder, file_sha256, mapping_sha256, file_bytes, kept FROM load_file "
            "WHERE file = ? AND table_name = ?",
            [file.name, file.table],
        ).fetchall()
    ]
    same = [load for load in named if load.sha256 == copy.sha256]
    read_so = [load for load in same if load.mapping == fingerprint]
    returns = bool(read_so) and is_last and _came_between(read_so, named, file.folder)
    if read_so and not returns:
        return Verdict(skip="loaded before")
    replaced = [load.load_id for load in same]
    otherwise = bool(same) and not read_so
    if file.packed or file.parquet:
        return Verdict(drop=tuple(replaced), returns=returns, otherwise=otherwise)
    for load_id, folder, sha256, _, size, kept in named:
        if folder != file.folder or sha256 == copy.sha256:
            continue
        if size < copy.size and _half_written(copy.path, size, sha256):
            replaced.append(load_id)
        if size > copy.size and _half_written(drops_folder(into) / kept, copy.size, copy.sha256):
            return Verdict(skip="a half-written copy of a file that was loaded before")
    return Verdict(drop=tuple(replaced), returns=returns, otherwise=otherwise)


def _came_between(same: list[_Load], named: list[_Load], folder: str) -> bool:
    """Do loads of files of one name stand behind all that are the `same`, yet before one in `folder` that came now?
    They are ordered by folder, then by load (`resolve.rank_files`).
    """
    latest = max(load.place for load in same)
    return any(load.place > latest and natural_key(load.folder) <= natural_key(folder) for load in named)


def _half_written(whole: Path, size: int, sha256: str) -> bool:
    """Are the first `size` bytes of `whole` the content with this hash, cut off in the middle of a line?"""
    if not whole.exists() or size == 0:
        return False
    digest = hashlib.sha256()
    last = b"\n"
    with whole.open("rb") as file:
        left = size
        while left and (piece := file.read(min(left, PIECE))):
            digest.update(piece)
            left -= len(piece)
            last = piece[-1:]
        following = file.read(1)
    in_a_line = last not in (b"\n", b"\r") and following not in (b"\n", b"\r", b"")
    return in_a_line and digest.hexdigest() == sha256
