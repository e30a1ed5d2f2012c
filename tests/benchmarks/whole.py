"""The whole run, stage by stage, against DuckDB's raw typed read of the same visit files.

    python -m tests.benchmarks.whole [visits] [--sites N] [--rounds N] [--files] [--drop DIR] [--into DIR]
        [--memory-gb G] [--prefect]

Each round is a process of its own: the raw read first, then every stage without Prefect; seconds of the wall and of
the processors, and the peak of memory. `--files` adds the SQL files by their cost, `--drop` uses a drop that is there,
`--memory-gb` bounds DuckDB's memory (0: DuckDB's own bound). `--prefect` runs the stages as a flow, as the command
does: Prefect's start, meanwhile the run's slow imports are done, stands on a line of its own and is not among all
stages; what Prefect takes between the stages is.
"""

from __future__ import annotations

import argparse
import json
import resource
import statistics
import subprocess
import sys
import tempfile
import time
from collections import defaultdict
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import date
from pathlib import Path
from typing import Any

import duckdb

from pipeline.day import day_stages
from pipeline.flow import run_with_prefect
from pipeline.load.inputs import VISITS
from pipeline.settings import Settings
from pipeline.simulate import make_fleet_command
from pipeline.stages import RunOrder, Stage
from pipeline.warehouse import Warehouse

TODAY = date(2026, 11, 1)
MEMORY_GB = Settings()["memory_limit_gb"]
RAW, BETWEEN = "raw read", "between"
Costs = dict[str, tuple[float, float]]


class Clock:
    """Adds up seconds of the wall and of the processors by name."""

    def __init__(self) -> None:
        self.spent: dict[str, tuple[float, float]] = defaultdict(lambda: (0.0, 0.0))

    @contextmanager
    def of(self, name: str) -> Iterator[None]:
        """Count what happens inside under `name`."""
        wall, cpu = time.perf_counter(), time.process_time()
        yield
        self.add(name, time.perf_counter() - wall, time.process_time() - cpu)

    def add(self, name: str, wall: float, cpu: float) -> None:
        """Count these seconds under `name`."""
        before = self.spent[name]
        self.spent[name] = (before[0] + wall, before[1] + cpu)


class TimedWarehouse(Warehouse):
    """A warehouse that counts the cost of each SQL file."""

    clock = Clock()

    def run(self, name: str) -> None:
        """Run the file and count its seconds."""
        with self.clock.of(name):
            super().run(name)


def raw_read(drop: Path, folder: Path) -> None:
    """The visits of the drop into a table, with the types that contract.md declares, and nothing else done."""
    files = sorted(str(f) for f in drop.glob("visits*.csv"))
    known = {c.name: c.sql_type for c in VISITS.columns}
    with duckdb.connect() as con:
        header = con.execute("SELECT * FROM read_csv(?, all_varchar = true) LIMIT 0", [files[0]]).description
        types = {name: known.get(name, "VARCHAR") for name, *_ in header}
    columns = ", ".join(f"'{n}': '{t}'" for n, t in types.items())
    with duckdb.connect(str(folder / "raw.duckdb")) as con:
        con.execute("SET TimeZone = 'UTC'")
        con.execute(
            f"CREATE TABLE visit AS SELECT * FROM read_csv({files}, auto_detect = false, header = true, "
            f"delim = ',', quote = '\"', escape = '\"', ignore_errors = true, columns = {{{columns}}})"
        )


def one_round(
    drop: Path,
    into: Path,
    memory_gb: float = MEMORY_GB,
    *,
    raw: bool = True,
    today: date = TODAY,
    prefect: bool = False,
) -> dict[str, Any]:
    """Raw read, unless it is left out, and all stages, once, in this process."""
    clock = Clock()
    if raw:
        with tempfile.TemporaryDirectory() as folder, clock.of(RAW):
            raw_read(drop, Path(folder))
    settings = Settings().with_values({"memory_limit_gb": memory_gb}, "the benchmark")
    order = RunOrder((drop,), into, today, settings=settings)
    stages = [(name, _timed(clock, name, stage)) for name, stage in day_stages()]
    if prefect:
        with clock.of(BETWEEN):
            run_with_prefect(order, stages, clock.of)
        inside = [cost for name, cost in clock.spent.items() if name not in (RAW, BETWEEN)]
        for cost in inside:
            clock.add(BETWEEN, -cost[0], -cost[1])
    else:
        with TimedWarehouse(order.work_file, order.settings) as warehouse:
            for _, stage in stages:
                stage(warehouse, order)
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6
    return {"stages": dict(clock.spent), "files": dict(TimedWarehouse.clock.spent), "peak_gb": peak}


def _timed(clock: Clock, name: str, stage: Stage) -> Stage:
    def timed(warehouse: Warehouse, order: RunOrder) -> None:
        with clock.of(name):
            stage(warehouse, order)

    return timed


def rounds_of(
    drop: Path, into: Path, rounds: int, memory_gb: float = MEMORY_GB, *, prefect: bool = False
) -> list[dict[str, Any]]:
    """What `one_round` finds, each time in a process and a folder of its own."""
    found = []
    for number in range(rounds):
        folder = into / f"round_{number}"
        folder.mkdir(parents=True)
        command = [sys.executable, "-m", "tests.benchmarks.whole", "--round", "--drop", str(drop)]
        command += ["--into", str(folder), "--memory-gb", str(memory_gb)]
        command += ["--prefect"] if prefect else []
        done = subprocess.run(command, check=True, stdout=subprocess.PIPE, text=True)
        found.append(json.loads(done.stdout))
    return found


def table(rounds: list[Costs]) -> str:
    """Medians over the rounds, a line a stage, with the ratio to the raw read of the same round."""
    lines = [f"{'':<14}{'wall s':>9}{'ratio':>8}{'cpu s':>9}{'ratio':>8}"]
    names = list(rounds[0])
    for r in rounds:
        stages = [cost for name, cost in r.items() if name not in (RAW, "prefect")]
        r["all stages"] = (sum(wall for wall, _ in stages), sum(cpu for _, cpu in stages))
    for name in [*names, "all stages"]:
        costs = [r[name] for r in rounds]
        seconds = [statistics.median(c[kind] for c in costs) for kind in (0, 1)]
        ratios = [
            statistics.median(c[kind] / r[RAW][kind] for c, r in zip(costs, rounds, strict=True))
            for kind in (0, 1)
        ]
        lines.append(f"{name:<14}{seconds[0]:9.2f}{ratios[0]:8.2f}{seconds[1]:9.2f}{ratios[1]:8.2f}")
    return "\n".join(lines)


def dearest(files: Costs, most: int = 40) -> str:
    """The SQL files that cost the processors most, a line each with seconds of the wall and of the processors."""
    by_cost = sorted(files.items(), key=lambda item: -item[1][1])[:most]
    return "".join(f"{name:<44}{wall:8.2f}{cpu:8.2f}\n" for name, (wall, cpu) in by_cost)


def main() -> None:
    """Make the fleet, run the rounds, print the medians."""
    parser = argparse.ArgumentParser()
    parser.add_argument("visits", nargs="?", type=int, default=1_000_000)
    parser.add_argument("--sites", type=int)
    parser.add_argument("--rounds", type=int, default=3)
    parser.add_argument("--files", action="store_true")
    parser.add_argument("--drop", type=Path)
    parser.add_argument("--into", type=Path)
    parser.add_argument("--memory-gb", type=float, default=MEMORY_GB)
    parser.add_argument("--prefect", action="store_true")
    parser.add_argument("--round", action="store_true", help=argparse.SUPPRESS)
    arguments = parser.parse_args()
    memory_gb, prefect = arguments.memory_gb, arguments.prefect
    if arguments.round:
        sys.stdout.write(json.dumps(one_round(arguments.drop, arguments.into, memory_gb, prefect=prefect)))
        return
    with tempfile.TemporaryDirectory() as folder:
        drop = arguments.drop or Path(folder) / "drop"
        if arguments.drop is None:
            make_fleet_command(drop, arguments.sites or arguments.visits // 10, arguments.visits, 1)
        into = arguments.into or Path(folder)
        found = rounds_of(drop, into, arguments.rounds, memory_gb, prefect=prefect)
        sys.stdout.write(table([f["stages"] for f in found]) + "\n")
        sys.stdout.write(f"peak of memory {max(f['peak_gb'] for f in found):.2f} GB\n")
        if arguments.files:
            sys.stdout.write(dearest(found[-1]["files"]))


if __name__ == "__main__":
    main()
