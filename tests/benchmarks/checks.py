"""Time of repairs, checks and static stage over a fleet, beside DuckDB's raw reads of the same visits' CSV files.

    .venv/bin/python -m tests.benchmarks.checks [VISITS] [RUNS]

Raw reads: CREATE TABLE AS SELECT * FROM read_csv(...), with the types that contract.md declares into a file of its own,
and with types sniffed into the file that the checks work in.
"""

from __future__ import annotations

import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

from pipeline.checks import all_checks
from pipeline.simulate import make_fleet_command
from pipeline.stages import RunOrder, check_stage, load_stage, static_stage
from pipeline.warehouse import SQL_DIR, Warehouse
from tests.benchmarks.whole import raw_read
from tests.conftest import FIELD_TODAY

REPAIRS = tuple(f"repair/{p.name}" for p in sorted((SQL_DIR / "repair").glob("*.sql")))


def timed(work: Callable[[], object]) -> tuple[float, float]:
    """Seconds by the wall and by the processors."""
    wall, cpu = time.perf_counter(), time.process_time()
    work()
    return time.perf_counter() - wall, time.process_time() - cpu


def repair(warehouse: Warehouse) -> None:
    """All repairs in their order."""
    for name in ("static/equipment_facts.sql", *REPAIRS):
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
    """The least of some runs, in seconds by the wall and by the processors."""
    drop, into = folder / "drop", folder / "out"
    make_fleet_command(drop, max(visits // 11, 1), visits, 1)
    into.mkdir()
    order = RunOrder((drop,), into, FIELD_TODAY)
    files = f"'{drop}/visits_*.csv', types = {{'supply_static': 'VARCHAR'}}"
    static = (SQL_DIR / "static/visit_measured.sql").read_text(encoding="utf-8")
    unpacked = static.replace("TABLE staging.visit_measured", "TEMP TABLE unpacked")
    unpacked = unpacked.replace("INTO staging.visit_measured", "INTO unpacked")
    best: dict[str, tuple[float, float]] = {}
    with Warehouse(order.work_file) as warehouse:
        load_stage(warehouse, order)
        steps: dict[str, Callable[[], object]] = {
            "typed read into a table": lambda: raw_read(drop, folder),
            "sniffed read into a table": lambda: warehouse.execute(
                f"CREATE OR REPLACE TABLE raw_read AS SELECT * FROM read_csv({files})"
            ),
            "check stage": lambda: check_stage(warehouse, order),
            "of it repairs": lambda: repair(warehouse),
            "static stage": lambda: static_stage(warehouse, order),
            "of it visit_measured": lambda: warehouse.run("static/visit_measured.sql"),
            "the same in memory": lambda: warehouse.con.execute(unpacked),
            "all of visit_static read": lambda: warehouse.con.execute(
                "EXPLAIN ANALYZE FROM visit_static"
            ).fetchall(),
        }
        for _ in range(runs):
            for name, step in steps.items():
                (folder / "raw.duckdb").unlink(missing_ok=True)
                wall, cpu = timed(step)
                least = best.get(name, (wall, cpu))
                best[name] = (min(wall, least[0]), min(cpu, least[1]))
        slowest = sorted(each_check(warehouse).items(), key=lambda item: -item[1][1])
    return best | dict(slowest[:8])


def main() -> None:
    """Print a line a step: seconds, and the ratios to both reads."""
    visits = int(sys.argv[1]) if len(sys.argv) > 1 else 1_000_000
    runs = int(sys.argv[2]) if len(sys.argv) > 2 else 3
    with tempfile.TemporaryDirectory() as folder:
        result = measure(Path(folder), visits, runs)
    typed, sniffed = result["typed read into a table"], result["sniffed read into a table"]
    sys.stdout.write(
        f"{'':28s}{'wall s':>8}{'typed':>8}{'sniffed':>8}{'cpu s':>8}{'typed':>8}{'sniffed':>8}\n"
    )
    for name, cost in result.items():
        numbers = (
            n for kind in (0, 1) for n in (cost[kind], cost[kind] / typed[kind], cost[kind] / sniffed[kind])
        )
        sys.stdout.write(f"{name:28s}" + "".join(f"{n:8.2f}" for n in numbers) + "\n")


if __name__ == "__main__":
    main()
