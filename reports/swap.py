"""A folder written as a whole: the new one takes the old one's place in one step."""

from __future__ import annotations

import ctypes
import os
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

AT_FDCWD = -100
RENAME_EXCHANGE = 2


@contextmanager
def swapped_in(folder: Path) -> Iterator[Path]:
    """A new folder beside `folder` to write into; when the block ends well it replaces `folder`, else it is removed."""
    new, old = (folder.with_name(f"{folder.name}.{word}") for word in ("new", "old"))
    if old.exists() and not folder.exists():  # a run died between the two renames of the slow way
        old.rename(folder)
    for left_over in (new, old):
        shutil.rmtree(left_over, ignore_errors=True)
    new.mkdir(parents=True)
    try:
        yield new
        _replace(new, folder, old)
    finally:
        shutil.rmtree(new, ignore_errors=True)


def _replace(new: Path, folder: Path, old: Path) -> None:
    if not folder.exists():
        new.rename(folder)
    elif not _exchange(new, folder):
        folder.rename(old)
        new.rename(folder)
        shutil.rmtree(old, ignore_errors=True)


def _exchange(one: Path, other: Path) -> bool:
    """Let two folders change places in one step (renameat2 of Linux); False where the system has no such call."""
    try:
        call = ctypes.CDLL(None, use_errno=True).renameat2
    except (OSError, AttributeError):
        return False
    status: int = call(AT_FDCWD, os.fsencode(one), AT_FDCWD, os.fsencode(other), RENAME_EXCHANGE)
    return status == 0
