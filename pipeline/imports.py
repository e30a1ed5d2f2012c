"""Imports that take seconds, done without what slows them down.

What belongs here: how to import. What does not: which modules a stage needs, which it says itself.
"""

from __future__ import annotations

import gc
from collections.abc import Iterator
from contextlib import contextmanager


@contextmanager
def collecting_later() -> Iterator[None]:
    """Python's garbage collector waits meanwhile, and leaves alone for good what is there in the end.

    Again and again it would look through all that a large import makes, a fifth of its time, and find nothing to free.
    """
    was_enabled = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        gc.freeze()
        if was_enabled:
            gc.enable()
