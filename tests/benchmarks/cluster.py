"""A run on local workers beside a run of one process: seconds, overhead, and whether the tables are equal.

    python -m tests.benchmarks.cluster [visits] [--sites N] [--workers N] [--drop DIR]

Both as a user starts them, with Prefect. Equal: the same rows, decimal numbers within 1e-9, everything else exactly.
"""

from __future__ import annotations

import argparse
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import duckdb

from pipeline.simulate import make_fleet_command
from tests.benchmarks.whole import TODAY
from tests.test_determinism import CLOCKS, HISTORY


def timed_run(drop: Path, into: Path, *more: str) -> float:
    """Seconds of the wall of `fleet-static run`."""
    command = [sys.executable, "-m", "pipeline.cli", "run", str(drop), "--into", str(into)]
    started = time.perf_counter()
    subprocess.run([*command, "--today", TODAY.isoformat(), *more], check=True, stdout=subprocess.DEVNULL)
    return time.perf_counter() - started


def differences(left: Path, right: Path) -> list[str]:
    """What differs between two publications, a line a table; empty where nothing does."""
    found = []
    with duckdb.connect() as con:
        for name, file in (("a", left), ("b", right)):
            con.execute(f"ATTACH '{file}' AS {name} (READ_ONLY)")
        tables = con.sql(
            "SELECT table_name, list(column_name), list(data_type) FROM duckdb_columns() "
            "WHERE database_name = 'a' AND schema_name = 'main' AND NOT internal GROUP BY ALL ORDER BY ALL"
        ).fetchall()
        for table, columns, types in tables:
            if table in HISTORY:
                continue
            kinds = {c: t for c, t in zip(columns, types, strict=True) if c not in CLOCKS}
            exact = ", ".join(f'"{c}"' for c, t in kinds.items() if t != "DOUBLE")
            counts = [con.sql(f"SELECT count(*) FROM {db}.{table}").fetchall()[0][0] for db in "ab"]
            sums = [
                con.sql(f"SELECT sum(hash({exact})::HUGEINT) FROM {db}.{table}").fetchall()[0][0]
                if exact
                else 0
                for db in "ab"
            ]
            if counts[0] != counts[1] or sums[0] != sums[1]:
                found.append(
                    f"{table}: {counts[0]} and {counts[1]} rows, or their keys, states or ranks differ"
                )
                continue
            for column in (c for c, t in kinds.items() if t == "DOUBLE"):
                rows = [
                    f'(SELECT "{column}" AS x FROM {db}.{table} ORDER BY {exact or column}, x)' for db in "ab"
                ]
                furthest, unlike = con.sql(
                    "SELECT max(CASE WHEN isfinite(l.x) AND isfinite(r.x) THEN abs(l.x - r.x) "
                    "/ greatest(1, abs(l.x)) END), "
                    "count(*) FILTER (WHERE (l.x IS NULL) <> (r.x IS NULL) OR isnan(l.x) <> isnan(r.x)) "
                    f"FROM {rows[0]} AS l POSITIONAL JOIN {rows[1]} AS r"
                ).fetchall()[0]
                if (furthest or 0) > 1e-9 or unlike:
                    found.append(f"{table}.{column}: differs by {furthest}, {unlike} empty in one only")
    return found


def main() -> None:
    """One run each, then the comparison."""
    parser = argparse.ArgumentParser()
    parser.add_argument("visits", nargs="?", type=int, default=3_000_000)
    parser.add_argument("--sites", type=int)
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--drop", type=Path)
    arguments = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        drop = arguments.drop or Path(folder) / "drop"
        if arguments.drop is None:
            make_fleet_command(drop, arguments.sites or arguments.visits // 10, arguments.visits, 1)
        alone, spread = Path(folder) / "alone", Path(folder) / "spread"
        one = timed_run(drop, alone)
        many = timed_run(drop, spread, "--cluster", f"local:{arguments.workers}")
        sys.stdout.write(
            f"one process {one:.1f} s, local:{arguments.workers} {many:.1f} s, {many / one:.2f} times\n"
        )
        differ = differences(alone / "fleet.duckdb", spread / "fleet.duckdb")
        sys.stdout.write("\n".join(differ or ["every published table is equal"]) + "\n")


if __name__ == "__main__":
    main()
