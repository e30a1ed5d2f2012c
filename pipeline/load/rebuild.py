"""A work file that cannot be opened or read is set aside; its content comes back from the copies that DIR keeps.

What does not belong here: how a copy is read again (`intake.restore`).
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import duckdb

from pipeline.errors import StageError, UsageError
from pipeline.settings import Settings
from pipeline.warehouse import Warehouse

DAMAGE = (duckdb.FatalException, duckdb.InternalException, duckdb.SerializationException)
WORDS = (
    "corrupt",
    "checksum",
    "not a valid duckdb database file",
    "magic bytes",
    "older version",
    "newer version",
)


def open_work_file(path: Path, settings: Settings, say: Callable[[str], None]) -> Warehouse:
    """Open the work file, or an empty one in place of a damaged one: `load` then restores what was loaded."""
    try:
        return Warehouse(path, settings)
    except duckdb.Error as error:
        if "could not set lock" in str(error).lower():
            raise UsageError(f"{path} is open in another process; close that first") from error
        if not is_damage(error):
            raise UsageError(f"{path} cannot be opened: {str(error).splitlines()[0]}") from error
        set_aside(path, say)
        return Warehouse(path, settings)


def is_damage(error: BaseException | None) -> bool:
    """Does this error say that the file itself is broken, rather than what was asked of it?"""
    while isinstance(error, StageError):
        error = error.__cause__
    if isinstance(error, DAMAGE):
        return True
    return isinstance(error, duckdb.Error) and any(w in str(error).lower() for w in WORDS)


def set_aside(path: Path, say: Callable[[str], None]) -> None:
    """Move a damaged work file out of the way (a later one replaces it), with its log."""
    aside = path.with_name(path.name + ".damaged")
    path.replace(aside)
    path.with_name(path.name + ".wal").unlink(missing_ok=True)
    say(
        f"{path} was damaged; it was moved to {aside.name} and is made again from the kept copies of the drops"
    )
