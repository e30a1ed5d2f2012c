"""Time of repairs, checks and static stage over a fleet, beside DuckDB's raw read of the same visits' CSV files.

    .venv/bin/python -m tests.benchmarks.checks [VISITS] [RUNS]

Raw read: CREATE TABLE AS SELECT * FROM read_csv(...), types sniffed, into the same file that the checks work in.
"""

from __future__ import annotations

import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

from pipeline.checks import all_checks, run_checks
from pipeline.simulate import make_fleet_command
from pipeline.stages import RunOrder, load_stage, static_stage
from pipeline.warehouse import SQL_DIR, Warehouse
from tests.conftest import FIELD_TODAY

REPAIRS = tuple(f"repair/{p.name}" for p in sorted((SQL_DIR / "repair").glob("*.sql")))


def timed(work: Callable[[], object]) -> tuple[float, float]:
    """Seconds by the wall and by the processors."""
    wall, cpu = time.perf_counter(), time.process_time()
    work()
    return time.perf_counter() - wall, time.process_time() - cpu


def repair(warehouse: Warehouse) -> None:
    """All repairs in their order."""
    for name in ("static/equipment_budget.sql", *REPAIRS):
        warehouse.run(name)


def each_check(warehouse: Warehouse) -> dict[str, tuple[float, float]]:
    """Every check on its own, into a table of its own."""
    return {
        check.check_id: timed(
            lambda sql=check.sql: warehouse.execute(f"CREATE OR REPLACE TEMP TABLE found AS {sql}")  # type: ignore[misc]
        )
        for check in all_checks()
    }


def measure(folder: Path, visits: int, runs: int) -> dict[str, tuple[float, float]]:
    """The best of some runs, in seconds by the wall and by the processors."""
    drop, into = folder / "drop", folder / "out"
    make_fleet_command(drop, max(visits // 11, 1), visits, 1)
    into.mkdir()
    order = RunOrder((drop,), into, FIELD_TODAY)
    files = f"'{drop}/visits_*.csv', types = {{'supply_static': 'VARCHAR'}}"
    best: dict[str, tuple[float, float]] = {}
    with Warehouse(order.work_file) as warehouse:
        load_stage(warehouse, order)
        steps: dict[str, Callable[[], object]] = {
            "raw read into a table": lambda: warehouse.execute(
                f"CREATE OR REPLACE TABLE raw_read AS SELECT * FROM read_csv({files})"
            ),
            "raw read, rows counted": lambda: warehouse.scalar(f"SELECT count(*) FROM read_csv({files})"),
            "repairs": lambda: repair(warehouse),
            "checks": lambda: run_checks(warehouse),
            "static stage": lambda: static_stage(warehouse, order),
            "visit_static alone": lambda: warehouse.run("static/visit_static.sql"),
            "visit_static copied": lambda: warehouse.execute(
                "CREATE OR REPLACE TABLE copied AS FROM visit_static"
            ),
        }
        for _ in range(runs):
            for name, step in steps.items():
                best[name] = min(timed(step), best.get(name, (float("inf"), 0.0)))
        slowest = sorted(each_check(warehouse).items(), key=lambda item: -item[1][1])
    return best | dict(slowest[:8])


def main() -> None:
    """Print a line a step."""
    visits = int(sys.argv[1]) if len(sys.argv) > 1 else 1_000_000
    runs = int(sys.argv[2]) if len(sys.argv) > 2 else 3
    with tempfile.TemporaryDirectory() as folder:
        result = measure(Path(folder), visits, runs)
    raw_wall, raw_cpu = result["raw read into a table"]
    for name, (wall, cpu) in result.items():
        times = f"{wall:7.2f} s {cpu:7.2f} s of processor"
        sys.stdout.write(f"{name:28s} {times} {wall / raw_wall:6.2f} {cpu / raw_cpu:6.2f} of the raw read\n")


if __name__ == "__main__":
    main()
