"""Imports that take seconds, done without what slows them down.

What belongs here: how to import. What does not: which modules a stage needs, which it says itself.
"""

from __future__ import annotations

import gc
import importlib
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager

_collection = threading.Lock()
_waited_for: list[bool] = []  # one entry an import under way: was the collector at work before it


@contextmanager
def collecting_later() -> Iterator[None]:
    """Python's garbage collector waits meanwhile, and leaves alone for good what is there in the end.

    Again and again it would look through all that a large import makes, a fifth of its time, and find nothing to free.
    Where imports on several threads overlap, it waits for the last of them.
    """
    with _collection:
        _waited_for.append(gc.isenabled())
        gc.disable()
    try:
        yield
    finally:
        with _collection:
            gc.freeze()
            was_enabled = any(_waited_for)
            _waited_for.pop()
            if was_enabled and not _waited_for:
                gc.enable()


def import_beside(*names: str) -> None:
    """Begin to import these modules on a thread of its own, for a stage to come. Whoever needs them waits for it.

    Worth it only beside work that leaves a core idle: against DuckDB at work on both cores a large import gains a
    tenth of the wall, and costs half as much again.
    """
    wanted = [name for name in names if name not in sys.modules]
    if wanted:
        threading.Thread(target=_import_all, args=(wanted,), name="imports").start()


def _import_all(names: list[str]) -> None:
    with collecting_later():
        for name in names:
            importlib.import_module(name)


def make_polars_ready() -> None:
    """Have Polars meet an array before there are threads: then it imports numpy, and two at once break that."""
    import numpy as np
    import polars as pl

    pl.Series(np.zeros(1))
