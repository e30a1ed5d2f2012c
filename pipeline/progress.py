"""Progress of a run on a terminal: one line a stage, with the time it took.

On a terminal the line of the stage at work is redrawn as time passes; in a file or a pipe only finished lines
are written, so a log stays readable. What belongs here: drawing. Which stages there are: `stages.py`.
"""

from __future__ import annotations

import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TextIO

from pipeline.load import open_work_file
from pipeline.stages import RunOrder, Stage
from pipeline.warehouse import Warehouse

REDRAW_EVERY_S = 0.2
_ERASE_LINE = "\r\x1b[2K"


class Progress:
    """Writes to `stream` (default: stderr); `quiet` writes nothing at all."""

    def __init__(self, stream: TextIO | None = None, quiet: bool = False) -> None:
        self._stream = stream if stream is not None else sys.stderr
        self._quiet = quiet
        self._live = not quiet and self._stream.isatty()
        self._lock = threading.RLock()
        self._at_work: tuple[str, float] | None = None

    def say(self, text: str) -> None:
        """A message of a stage; the line of the stage at work stays below it."""
        if self._quiet:
            return
        with self._lock:
            self._write((_ERASE_LINE if self._live else "") + text + "\n")
            self._redraw()

    @contextmanager
    def step(self, name: str) -> Iterator[None]:
        """Show `name` with its elapsed seconds while the block runs, and whether it ended well."""
        started = time.monotonic()
        ended = threading.Event()
        self._at_work = (name, started)
        ticker = threading.Thread(target=self._tick, args=(ended,), daemon=True)
        if self._live:
            self._redraw()
            ticker.start()
        outcome = "stopped"
        try:
            yield
            outcome = ""
        finally:
            ended.set()
            with self._lock:
                self._at_work = None
                self._finish(name, time.monotonic() - started, outcome)

    def watch(self, stages: list[tuple[str, Stage]]) -> list[tuple[str, Stage]]:
        """The same stages, each one showing itself as it runs."""
        return [(name, self._watched(name, stage)) for name, stage in stages]

    def _watched(self, name: str, stage: Stage) -> Stage:
        def watched(warehouse: Warehouse, order: RunOrder) -> None:
            with self.step(name):
                stage(warehouse, order)

        return watched

    def _tick(self, ended: threading.Event) -> None:
        while not ended.wait(REDRAW_EVERY_S):
            self._redraw()

    def _redraw(self) -> None:
        with self._lock:
            if self._live and self._at_work is not None:
                name, started = self._at_work
                self._write(_ERASE_LINE + _line(name, time.monotonic() - started, "..."))

    def _finish(self, name: str, seconds: float, outcome: str) -> None:
        if not self._quiet:
            self._write((_ERASE_LINE if self._live else "") + _line(name, seconds, outcome) + "\n")

    def _write(self, text: str) -> None:
        try:
            self._stream.write(text)
            self._stream.flush()
        except (BrokenPipeError, ValueError):  # the reader has gone or the stream is closed: the run goes on
            self._quiet = True
            self._live = False


def _line(name: str, seconds: float, outcome: str) -> str:
    return f"  {name:<12} {seconds:7.1f} s {outcome}".rstrip()


def run_directly(order: RunOrder, stages: list[tuple[str, Stage]]) -> None:
    """Run the stages in order on one warehouse, without Prefect."""
    with open_work_file(order.work_file, order.settings, order.say) as warehouse:
        for _, stage in stages:
            stage(warehouse, order)
