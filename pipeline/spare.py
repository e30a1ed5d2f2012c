"""The publication before the last, kept under a hidden name, so that the next one need not be written as a whole.

After a day's drop most of a publication is what it was two publications ago: only what differs is written into the
spare, which then becomes the new file. Bytes are compared, whatever they mean: nothing is assumed of the database's
format.

What belongs here: which file may be written over, and making it hold what another holds. What does not: what is
published.
"""

from __future__ import annotations

import fcntl
import os
import shutil
import signal
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from threading import Event

PIECE = 1 << 18  # bytes that are compared, and written, at once


def spare_of(published: Path) -> Path:
    """Where the spare of a publication lies."""
    return published.with_name(f".{published.name}.spare")


def keep_as_spare(published: Path) -> None:
    """Keep the publication that is about to be replaced, unless the disk has no room for as much again."""
    spare = spare_of(published)
    spare.unlink(missing_ok=True)
    if published.exists() and shutil.disk_usage(published.parent).free >= published.stat().st_size:
        os.link(published, spare)  # two names until the new file takes one over


def make_copy(source: Path, new: Path, spare: Path) -> None:
    """Make `new` a copy of `source`, out of the spare where nobody else can see that change; the spare is gone then."""
    if is_unseen(spare):
        os.replace(spare, new)
        write_differences(source, new)
    else:
        spare.unlink(missing_ok=True)
        write_all(source, new)


def is_unseen(file: Path) -> bool:
    """Is there such a file, has it no other name, and has nobody opened it? Where that cannot be told: no.

    Readers keep what they opened, also without a lock (a backup under way). Linux grants a write lease only on a file
    that nobody else has open or mapped. It is given back at once; whoever opens the file in between waits so long.
    """
    try:
        with file.open("r+b") as opened:
            if os.fstat(opened.fileno()).st_nlink != 1:
                return False
            # The signal for one who waits: by default another, which would end the process. This one is ignored.
            fcntl.fcntl(opened, fcntl.F_SETSIG, signal.SIGURG)
            fcntl.fcntl(opened, fcntl.F_SETLEASE, fcntl.F_WRLCK)
            fcntl.fcntl(opened, fcntl.F_SETLEASE, fcntl.F_UNLCK)
            return True
    except (OSError, AttributeError):  # no such file, somebody has it open, or another system than Linux
        return False


def write_differences(source: Path, target: Path) -> None:
    """Make `target` hold what `source` holds; only pieces that differ are written. Two halves at once."""
    with source.open("rb") as wanted, target.open("r+b") as file, ThreadPoolExecutor(2) as pool:
        size = os.fstat(wanted.fileno()).st_size
        middle = size // 2 // PIECE * PIECE
        halves = [
            pool.submit(_write_differences, wanted.fileno(), file.fileno(), *half)
            for half in ((0, middle), (middle, size))
        ]
        for half in halves:
            half.result()
        file.truncate(size)


def _write_differences(wanted: int, file: int, place: int, end: int) -> None:
    ours, theirs = bytearray(PIECE), bytearray(PIECE)
    while place < end and (read := os.preadv(wanted, [ours], place)):
        there = os.preadv(file, [theirs], place)
        if there != read or ours != theirs:  # at the end of the file both may hold older bytes, too
            _write(file, memoryview(ours)[:read], place)
        place += read


def _write(descriptor: int, piece: memoryview, place: int) -> None:
    while piece:
        written = os.pwrite(descriptor, piece, place)
        piece, place = piece[written:], place + written


def write_all(source: Path, target: Path) -> None:
    """A plain copy, which goes to the disk while it grows."""
    target.touch()
    copied = Event()
    with ThreadPoolExecutor(1) as beside:
        synced = beside.submit(_sync_until, copied, target)
        try:
            shutil.copyfile(source, target)
        finally:
            copied.set()
        synced.result()  # an error of the disk is told once


def _sync_until(copied: Event, file: Path) -> None:
    with file.open("r+b") as opened:
        while not copied.wait(0.1):
            os.fsync(opened.fileno())
