"""Is this file new? The same file again is not, unless another of its name has come since and it takes that back; nor
is a file that was caught half-written before.

What does not belong here: corrections between different files, which are decided row by row (`resolve.py`).
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from pathlib import Path

from pipeline.load.copying import PIECE, Copy
from pipeline.load.files import InputFile, natural_key
from pipeline.load.kept import drops_folder
from pipeline.warehouse import Warehouse

Place = tuple[int, str]


@dataclass(frozen=True)
class Verdict:
    """`skip` says why a file is not loaded (None: load it); `drop` are loads that it takes the place of; `returns`: it
    was loaded before, and takes back what another of its name said since."""

    skip: str | None = None
    drop: tuple[int, ...] = ()
    returns: bool = False


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
    named = warehouse.con.execute(
        "SELECT load_id, folder, file_sha256, mapping_sha256 FROM load_file WHERE file = ? AND table_name = ?",
        [file.name, file.table],
    ).fetchall()
    same = [load for load in named if load[2] == copy.sha256]
    places = [load[:2] for load in same if load[3] == fingerprint]
    returns = bool(places) and is_last and _came_between(places, [load[:2] for load in named], file.folder)
    if places and not returns:
        return Verdict(skip="loaded before")
    replaced = [load[0] for load in same]
    if file.packed or file.parquet:
        return Verdict(drop=tuple(replaced), returns=returns)
    others = warehouse.con.execute(
        "SELECT load_id, file_sha256, file_bytes, kept FROM load_file "
        "WHERE file = ? AND folder = ? AND table_name = ? AND file_sha256 <> ?",
        [file.name, file.folder, file.table, copy.sha256],
    ).fetchall()
    for load_id, sha256, size, kept in others:
        if size < copy.size and _half_written(copy.path, size, sha256):
            replaced.append(load_id)
        if size > copy.size and _half_written(drops_folder(into) / kept, copy.size, copy.sha256):
            return Verdict(skip="a half-written copy of a file that was loaded before")
    return Verdict(drop=tuple(replaced), returns=returns)


def _came_between(same: list[Place], named: list[Place], folder: str) -> bool:
    """Do files of one name, given as load and folder, stand behind all that are the `same`, yet before one in `folder`
    that came now? They are ordered by folder, then by load (`resolve.rank_files`).
    """
    latest = max((natural_key(of), load_id) for load_id, of in same)
    return any(
        latest < (natural_key(of), load_id) and natural_key(of) <= natural_key(folder)
        for load_id, of in named
    )


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
