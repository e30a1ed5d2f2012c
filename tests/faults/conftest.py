"""A warm fork server for runs that are to be killed, and what an undisturbed run publishes."""

from __future__ import annotations

import json
import math
import multiprocessing
import shutil
import time
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from multiprocessing.context import ForkServerProcess
from pathlib import Path
from typing import Any

import duckdb
import pytest

from pipeline.warehouse import TABLES
from tests.faults.child import Job, Kill, run

WARM = [
    "tests.faults.child",
    "expectations.datasource",
    "expectations.final",
    "altair",
    "pipeline.functions",
    "reports",
]
# What tells of the runs themselves: times of every run, and what changed since the publication before.
HISTORY = ("check_run", "site_change")
CLOCKS = {"publication": "published_at", "load_ledger": "loaded_at"}
FIRST = (
    "sites.csv",
    "equipment.csv",
    "technicians.csv",
    "instruments.csv",
    "blower_tables.csv",
    "visits_part1.csv",
)

Content = dict[str, list[tuple[Any, ...]]]


def content(published: Path) -> Content:
    """Every table of a publication without the clock's columns and the history of runs, in an order of its own."""
    with duckdb.connect() as con:
        con.execute(f"ATTACH '{published}' AS fleet (READ_ONLY)")
        con.execute("SET TimeZone = 'UTC'")
        names = [
            r[0]
            for r in con.sql(
                f"SELECT table_name FROM ({TABLES}) WHERE table_name NOT IN {HISTORY}"
            ).fetchall()
        ]
        return {n: sorted(_rows(con, n), key=_sort_key) for n in names}


def _rows(con: duckdb.DuckDBPyConnection, name: str) -> list[tuple[Any, ...]]:
    left_out = f" EXCLUDE ({CLOCKS[name]})" if name in CLOCKS else ""
    return con.sql(f'SELECT *{left_out} FROM fleet."{name}"').fetchall()


def _sort_key(row: tuple[Any, ...]) -> str:
    return repr([f"{x:.6g}" if isinstance(x, float) else str(x) for x in row])


def difference(one: Content, other: Content) -> str:
    """The first difference in words, '' if there is none; numbers may differ by 1e-9."""
    if one.keys() != other.keys():
        return f"tables {sorted(one.keys() ^ other.keys())}"
    for name, rows in one.items():
        others = other[name]
        if len(rows) != len(others):
            return f"{name}: {len(rows)} rows and {len(others)}"
        for row, twin in zip(rows, others, strict=True):
            if not all(_same(a, b) for a, b in zip(row, twin, strict=True)):
                return f"{name}: {row} and {twin}"
    return ""


def _same(a: Any, b: Any) -> bool:
    if isinstance(a, float) and isinstance(b, float):
        return (a != a and b != b) or math.isclose(a, b, rel_tol=1e-9, abs_tol=1e-9)
    return bool(a == b)


@dataclass
class Faults:
    """Where the tests run: `folder` is theirs; `drop` is the whole drop, `first` the part that was published before."""

    folder: Path
    drop: Path
    context: Any
    number: int = 0

    def place(self, name: str) -> Path:
        self.number += 1
        return self.folder / f"{self.number} {name}"

    def start(self, job: Job) -> ForkServerProcess:
        process: ForkServerProcess = self.context.Process(target=run, args=(job,))
        process.start()
        return process

    def run(self, job: Job) -> int:
        process = self.start(job)
        process.join(120)
        assert process.exitcode is not None, "the run did not end"
        return process.exitcode

    def kill_at(self, job: Job, seconds: float) -> int:
        process = self.start(job)
        time.sleep(seconds)
        process.kill()
        process.join(120)
        return process.exitcode or 0

    def run_again(self, into: Path, without: tuple[str, ...] = ("report",), *, copies: bool = False) -> str:
        """Run to the end; what went wrong, '' if nothing did."""
        log = into.with_name(into.name + ".again")
        status = self.run(Job((self.drop,), into, log, without=without, copies=copies))
        return "" if status == 0 else f"the rerun ended with {status}: {log.read_text()}"

    def both(self, work: Callable[[Any], str], items: list[Any]) -> list[str]:
        """Do the work for all items, two at a time; what went wrong, with the item."""
        with ThreadPoolExecutor(2) as pool:
            found = list(pool.map(work, items))
        return [f"{item}: {wrong}" for item, wrong in zip(items, found, strict=True) if wrong]


@dataclass(frozen=True)
class Before:
    """A DIR with a publication of part of the drop; what that holds, and what it is to hold after the whole drop."""

    into: Path
    old: Content
    new: Content
    writes: dict[str, int]


@pytest.fixture(scope="session")
def faults(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Faults]:
    from pipeline.simulate import make_fleet_command

    folder = tmp_path_factory.mktemp("faults")
    make_fleet_command(folder / "drop", 12, 150, 3)
    context = multiprocessing.get_context("forkserver")
    context.set_forkserver_preload(WARM)
    made = Faults(folder, folder / "drop", context)
    yield made
    shutil.rmtree(folder, ignore_errors=True)


@pytest.fixture(scope="session")
def before(faults: Faults) -> Before:
    into = faults.folder / "before"
    log = faults.folder / "before.log"
    first = tuple(faults.drop / name for name in FIRST)
    assert faults.run(Job(first, into, log, without=())) == 0, log.read_text()
    after = faults.folder / "after"
    shutil.copytree(into, after)
    counts = faults.folder / "counts.json"
    assert faults.run(Job((faults.drop,), after, log, without=(), counts=counts)) == 0, log.read_text()
    old, new = content(into / "fleet.duckdb"), content(after / "fleet.duckdb")
    assert difference(old, new)
    return Before(into, old, new, json.loads(counts.read_text()))


__all__ = ["Before", "Faults", "Kill", "content", "difference"]
