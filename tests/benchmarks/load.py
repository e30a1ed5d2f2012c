"""Load of a million contract-shaped visits against DuckDB's bare typed read of the same file.

    python -m tests.benchmarks.load [visits] [rounds]

Both end with the rows in a database file on disk. Prints seconds of the wall and of the processor, and their ratios.
"""

from __future__ import annotations

import resource
import sys
import tempfile
import time
from collections.abc import Callable
from datetime import date
from pathlib import Path

import duckdb

from pipeline.load import accept, load
from pipeline.load.inputs import VISITS
from pipeline.stages import RunOrder
from pipeline.warehouse import Warehouse

SITES = 20_000
COLUMNS = [c.name for c in VISITS.columns if c.name != "recorded_at"]


def write_fleet(folder: Path, visits: int) -> Path:
    """A sound drop: SITES sites with one unit each, 100 technicians, and this many visits; the visits file."""
    write = {
        "sites.csv": f"SELECT 'S' || i AS site_id, 'North' AS branch FROM range({SITES}) AS t(i)",
        "equipment.csv": "SELECT 'E' || i AS equipment_id, 'S' || i AS site_id, 'furnace' AS equipment_kind, "
        f"0.5 AS rated_tesp_inwc FROM range({SITES}) AS t(i)",
        "technicians.csv": "SELECT 'T' || i AS technician_id FROM range(100) AS t(i)",
        "visits.csv": f"SELECT {', '.join(f'{_value(c)} AS {c}' for c in COLUMNS)} FROM range({visits}) AS t(i)",
    }
    with duckdb.connect() as con:
        for name, query in write.items():
            con.execute(f"COPY ({query}) TO '{folder / name}' (HEADER)")
    return folder / "visits.csv"


def _value(column: str) -> str:
    """SQL of a plausible value, made from the row's number alone."""
    ids = {"visit_id": "'V' || lpad(i::VARCHAR, 8, '0')", "site_id": f"'S' || i % {SITES}"}
    ids |= {
        "equipment_id": f"'E' || i % {SITES}",
        "technician_id": "'T' || i % 100",
        "instrument_id": "'M' || i % 100",
    }
    at = (
        "strftime(TIMESTAMP '2024-01-01 08:00:00' + to_minutes(i % 1000000) - to_minutes({}), "
        "'%Y-%m-%dT%H:%M:%S-05:00')"
    )
    reading = "round((hash(i + {}) % 400)::INTEGER / 1000, 3)"
    numbers = {"return_static": "-" + reading.format(0), "supply_static": reading.format(1)}
    numbers |= {
        "zero_return": "round((i % 9) / 1000 - 0.004, 3)",
        "zero_supply": "round((i % 7) / 1000 - 0.003, 3)",
    }
    known = ids | numbers | {"visited_at": at.format(0), "zeroed_at": at.format(9), "holes_plugged": "true"}
    known |= {
        "note": "CASE WHEN i % 20 = 0 THEN 'panel was loose, taped' END",
        "filter_drop": "(i % 90) / 1000",
    }
    spec = VISITS.column(column)
    return known.get(column, f"'{spec.words[0]}'" if spec.words else "NULL")


def bare_read(visits: Path, folder: Path) -> None:
    columns = ", ".join(f"'{c}': '{VISITS.column(c).sql_type}'" for c in COLUMNS)
    with duckdb.connect(str(folder / "bare.duckdb")) as con:
        con.execute("SET TimeZone = 'UTC'")
        con.execute(
            f"CREATE TABLE visit AS SELECT * FROM read_csv('{visits}', auto_detect = false, header = true, "
            f"delim = ',', quote = '\"', escape = '\"', columns = {{{columns}}})"
        )


def whole_load(visits: Path, folder: Path) -> None:
    order = RunOrder((visits.parent,), folder, date(2026, 11, 1))
    with Warehouse(order.work_file) as warehouse:
        load(warehouse, order)
        accept(warehouse, order)


def _timed(work: Callable[[Path, Path], None], visits: Path) -> tuple[float, float]:
    with tempfile.TemporaryDirectory() as folder:
        wall, before = time.perf_counter(), resource.getrusage(resource.RUSAGE_SELF)
        work(visits, Path(folder))
        after = resource.getrusage(resource.RUSAGE_SELF)
        spent = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
        return time.perf_counter() - wall, spent


def main(visits: int = 1_000_000, rounds: int = 3) -> None:
    with tempfile.TemporaryDirectory() as folder:
        file = write_fleet(Path(folder), visits)
        sys.stdout.write(f"{visits} visits, {file.stat().st_size / 1e6:.0f} MB\n")
        for _ in range(rounds):
            bare, whole = _timed(bare_read, file), _timed(whole_load, file)
            sys.stdout.write(
                f"wall: bare {bare[0]:.2f} s, load {whole[0]:.2f} s, ratio {whole[0] / bare[0]:.2f}; "
                f"processor: bare {bare[1]:.2f} s, load {whole[1]:.2f} s, ratio {whole[1] / bare[1]:.2f}\n"
            )


if __name__ == "__main__":
    main(*(int(a) for a in sys.argv[1:]))
