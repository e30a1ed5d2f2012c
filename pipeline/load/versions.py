"""Is this file new? The same file again is not; nor is a file that was caught half-written before.

What does not belong here: corrections between different files, which are decided row by row (`resolve.py`).
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from pathlib import Path

from pipeline.load.copying import PIECE, Copy
from pipeline.load.files import InputFile
from pipeline.load.kept import drops_folder
from pipeline.warehouse import Warehouse


@dataclass(frozen=True)
class Verdict:
    """`skip` says why a file is not loaded (None: load it); `drop` are loads that it takes the place of."""

    skip: str | None = None
    drop: tuple[int, ...] = ()


def judge(warehouse: Warehouse, into: Path, file: InputFile, copy: Copy, fingerprint: str) -> Verdict:
    """Compare a file with what was loaded under its name. `fingerprint` is that of the mapping."""
    same = warehouse.con.execute(
        "SELECT load_id, mapping_sha256 FROM load_file WHERE file = ? AND file_sha256 = ? AND table_name = ?",
        [file.name, copy.sha256, file.table],
    ).fetchall()
    if any(read == fingerprint for _, read in same):
        return Verdict(skip="loaded before")
    replaced = [load_id for load_id, _ in same]
    if file.packed or file.parquet:
        return Verdict(drop=tuple(replaced))
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
    return Verdict(drop=tuple(replaced))


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
