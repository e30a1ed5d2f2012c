"""One run in a process of its own, which may be told to kill itself at a write: imported by the fork server.

A write is a statement given to DuckDB, or a call that changes files. Nothing of this lies in the product: the calls are
wrapped here, in the child. What syncs a file beside the run until it is copied (pipeline/spare.py) is not counted: how
often it does depends on how quick the machine is.
"""

from __future__ import annotations

import functools
import json
import os
import resource
import shutil
import signal
import sys
import threading
import traceback
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

from pipeline import day, publish, runner
from pipeline.errors import FleetStaticError
from pipeline.stages import RunOrder, Stage
from pipeline.warehouse import Warehouse

TODAY = date(2026, 11, 25)
CRASHED = 70  # the exit status of a run that ended with a traceback
FSYNC = os.fsync
WRITES: tuple[tuple[Any, str], ...] = (
    (Warehouse, "execute"),
    (Warehouse, "_execute"),
    (os, "replace"),
    (os, "fsync"),
    (os, "link"),
    (os, "pwrite"),
    (shutil, "copyfile"),
    (Path, "replace"),
    (Path, "unlink"),
    (Path, "write_text"),
    (Path, "write_bytes"),
)


@dataclass(frozen=True)
class Kill:
    """Die at write number `write` (from 1) of `stage`, before it or right after it."""

    stage: str
    write: int
    after: bool = False


@dataclass(frozen=True)
class Job:
    """One run. log: where its messages go; counts: where to write how many writes each stage did.

    copies: publish by copying the work file, however small. largest_file: bytes beyond which a write fails; with
    kill_on_large it kills.
    """

    drops: tuple[Path, ...]
    into: Path
    log: Path
    kill: Kill | None = None
    counts: Path | None = None
    without: tuple[str, ...] = ("report",)
    largest_file: int | None = None
    kill_on_large: bool = False
    copies: bool = False


def run(job: Job) -> None:
    """The whole run; ends the process with the exit status that the command would have."""
    with job.log.open("w") as log:
        os.dup2(log.fileno(), 1)
        os.dup2(log.fileno(), 2)
    watch = _Watch(job.kill)
    if job.kill or job.counts:
        watch.wrap()
    stages = [
        (name, watch.noting(name, stage)) for name, stage in day.day_stages() if name not in job.without
    ]
    day.day_stages = lambda: stages  # type: ignore[assignment]
    if job.copies:
        publish.SMALL = 0
    if job.largest_file is not None:
        signal.signal(signal.SIGXFSZ, signal.SIG_DFL if job.kill_on_large else signal.SIG_IGN)
        resource.setrlimit(resource.RLIMIT_FSIZE, (job.largest_file, resource.RLIM_INFINITY))
    status = 0
    try:
        runner.run_drops(list(job.drops), job.into, today=TODAY, direct=True)
    except FleetStaticError as error:
        sys.stderr.write(f"fleet-static: {error}\n")
        status = error.exit_status
    except BaseException:
        traceback.print_exc()
        status = CRASHED
    if job.counts:
        job.counts.write_text(json.dumps(watch.writes))
    sys.stdout.flush()
    sys.stderr.flush()
    os._exit(status)


class _Watch:
    """Counts the writes of every stage, and kills the process at one of them."""

    def __init__(self, kill: Kill | None) -> None:
        self.kill = kill
        self.stage = "start"
        self.writes: dict[str, int] = {}

    def noting(self, name: str, stage: Stage) -> Stage:
        def noted(warehouse: Warehouse, order: RunOrder) -> None:
            self.stage = name
            stage(warehouse, order)

        return noted

    def wrap(self) -> None:
        for owner, name in WRITES:
            setattr(owner, name, self._wrapped(getattr(owner, name)))

    def _wrapped(self, write: Callable[..., Any]) -> Callable[..., Any]:
        @functools.wraps(write)
        def watched(*arguments: Any, **named: Any) -> Any:
            if write is FSYNC and threading.current_thread() is not threading.main_thread():
                return write(*arguments, **named)
            here = self.writes[self.stage] = self.writes.get(self.stage, 0) + 1
            stage = self.stage
            self._perhaps(stage, here, after=False)
            result = write(*arguments, **named)
            self._perhaps(stage, here, after=True)
            return result

        return watched

    def _perhaps(self, stage: str, write: int, after: bool) -> None:
        if self.kill == Kill(stage, write, after):
            os.kill(os.getpid(), signal.SIGKILL)
