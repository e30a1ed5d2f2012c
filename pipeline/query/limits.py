"""What a query may take: seconds in the database, and memory of the process.

DuckDB keeps its own memory limit for blocks and intermediates, but a value that it builds (a list of a thousand
million numbers) is not counted there, and a step that never looks up cannot be interrupted. So the process has a
ceiling of its own, and a last clock that ends it.
"""

from __future__ import annotations

import os
import resource
import sys
import time
from collections.abc import Callable, Iterator, Mapping
from concurrent.futures import Future, ThreadPoolExecutor, wait
from contextlib import contextmanager
from dataclasses import dataclass
from typing import TypeVar

import duckdb

from pipeline.settings import Settings

T = TypeVar("T")
SLACK_SHARE = 1.25  # the process may take this much of what DuckDB may, beyond what it holds already
GB = 1_000_000_000


@dataclass(frozen=True)
class Limits:
    """Limits of one query: DuckDB's memory in GB, seconds in the database, seconds to stop in when told to."""

    memory_gb: float
    time_s: float
    grace_s: float

    @classmethod
    def of(cls, con: duckdb.DuckDBPyConnection) -> Limits:
        """The limits that the publication carries in its settings; the defaults where it has none."""
        defaults: Mapping[str, float] = Settings()
        try:
            rows = con.execute("SELECT name, value FROM setting WHERE name LIKE 'sql_%'").fetchall()
        except duckdb.Error:
            rows = []
        values = {**{name: defaults[name] for name in defaults if name.startswith("sql_")}, **dict(rows)}
        return cls(values["sql_memory_limit_gb"], values["sql_time_limit_s"], values["sql_grace_s"])


class Clock:
    """Counts the time a query spends in the database; interrupts it at the limit or at Ctrl-C.

    The database works in a thread of its own: the main thread waits, so it can look at the clock and hear a signal.
    """

    def __init__(self, con: duckdb.DuckDBPyConnection, limits: Limits, pool: ThreadPoolExecutor) -> None:
        self.limits = limits
        self.left = limits.time_s if limits.time_s > 0 else None
        self.rang = False
        self._con = con
        self._pool = pool

    def run(self, work: Callable[[], T]) -> T:
        """What `work` returns or raises; time between such calls does not count."""
        began = time.monotonic()
        future = self._pool.submit(work)
        try:
            done, _ = wait([future], timeout=None if self.left is None else max(self.left, 0))
            if not done:
                self.rang = True
                self._stop(future)
            return future.result()
        except KeyboardInterrupt:
            self._stop(future)
            raise
        finally:
            if self.left is not None:
                self.left -= time.monotonic() - began

    @property
    def message(self) -> str:
        """What is said of a query that the clock stopped."""
        return f"the query was stopped after {self.limits.time_s:g} s (setting sql_time_limit_s)"

    def _stop(self, future: Future[T]) -> None:
        """Interrupt until the work has ended; end the process where it does not look up within the grace."""
        end = time.monotonic() + self.limits.grace_s
        while not future.done():
            if time.monotonic() > end:
                end_process(self.message if self.rang else "the query was stopped")
            self._con.interrupt()
            wait([future], timeout=0.05)


def end_process(message: str) -> None:
    """Leave at once with status 2: the step that runs does not look up, so no exception could reach it."""
    sys.stderr.write(f"fleet-static: {message}\n")
    sys.stderr.flush()
    os._exit(2)


@contextmanager
def memory_ceiling(memory_gb: float) -> Iterator[None]:
    """Let this process take no more than the limit and a quarter beyond what it holds (Linux; elsewhere nothing)."""
    held = _data_bytes()
    if held is None:
        yield
        return
    soft, hard = resource.getrlimit(resource.RLIMIT_DATA)
    ceiling = held + int(memory_gb * SLACK_SHARE * GB)
    stricter = [limit for limit in (soft, hard, ceiling) if limit != resource.RLIM_INFINITY]
    resource.setrlimit(resource.RLIMIT_DATA, (min(stricter), hard))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_DATA, (soft, hard))


def _data_bytes() -> int | None:
    """Bytes of private memory that the kernel counts against RLIMIT_DATA; None where it does not say."""
    try:
        with open("/proc/self/status", encoding="ascii") as status:
            return next(int(line.split()[1]) * 1024 for line in status if line.startswith("VmData:"))
    except (OSError, StopIteration):
        return None
