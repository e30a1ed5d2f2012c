"""A day's drop on a history, against the run that read the history: seconds of each stage, and the share of the whole.

    python -m tests.benchmarks.day [visits] [--sites N] [--drop DIR] [--share S] [--days N] [--into DIR]
        [--memory-gb G] [--files] [--prefect]

The last visits of the drop, a share S of them for each of N days (0.001 each, 3 days), are held back and come one day
after another. Every run is a process of its own, and looks at its files on the day of their last visit. `--prefect`
runs the stages as a flow, as the command does: Prefect's start, meanwhile the run's slow imports are done, is not
among all stages.
"""

from __future__ import annotations

import argparse
import json
import shutil
import subprocess
import sys
import tempfile
from datetime import date
from pathlib import Path
from typing import Any

import duckdb

from pipeline.simulate import make_fleet_command
from tests.benchmarks.whole import MEMORY_GB, TODAY, dearest, one_round


def split(drop: Path, into: Path, share: float, days: int) -> list[Path]:
    """Folders of the history and of each day, with the rows of the drop's visit files in order of time."""
    folders = [into / "history", *(into / f"day_{n + 1}" for n in range(days))]
    for folder in folders:
        folder.mkdir(parents=True)
    for file in drop.glob("*.csv"):
        if not file.name.startswith("visits"):
            shutil.copy(file, folders[0])
    visits = f"read_csv('{drop}/visits*.csv', all_varchar = true)"
    shares = [1 - share * (days - n) for n in range(days)]
    with duckdb.connect() as con:
        # Times with a mistyped year stay in the history.
        cuts = con.execute(
            f"SELECT quantile_disc(visited_at, {shares}) FROM {visits} WHERE visited_at < '{TODAY}'"
        ).fetchall()[0][0]
        for folder, low, high in zip(folders, ["", *cuts], [*cuts, str(TODAY)], strict=True):
            others = f"OR visited_at >= '{TODAY}'" if folder is folders[0] else ""
            con.execute(
                f"COPY (FROM {visits} WHERE visited_at >= '{low}' AND visited_at < '{high}' {others}) "
                f"TO '{folder}/visits_{folder.name}.csv' (HEADER)"
            )
    return folders


def last_day(drop: Path) -> date:
    """The day of the last visit, but for those with a mistyped year."""
    with duckdb.connect() as con:
        found = con.execute(
            f"SELECT max(visited_at) FROM read_csv('{drop}/visits*.csv', all_varchar = true) "
            f"WHERE visited_at < '{TODAY}'"
        ).fetchall()
    return date.fromisoformat(found[0][0][:10])


def run(drop: Path, into: Path, memory_gb: float, *, prefect: bool = False) -> dict[str, Any]:
    """What `one_round` finds in a process of its own, without the raw read."""
    command = [sys.executable, "-m", "tests.benchmarks.day", "--round", "--drop", str(drop)]
    command += ["--into", str(into), "--memory-gb", str(memory_gb), "--today", str(last_day(drop))]
    command += ["--prefect"] if prefect else []
    done = subprocess.run(command, check=True, stdout=subprocess.PIPE, text=True)
    found: dict[str, Any] = json.loads(done.stdout)
    return found


def main() -> None:
    """Split, run the history and each day, print the stages of the history and of each day."""
    parser = argparse.ArgumentParser()
    parser.add_argument("visits", nargs="?", type=int, default=1_000_000)
    parser.add_argument("--sites", type=int)
    parser.add_argument("--drop", type=Path)
    parser.add_argument("--share", type=float, default=0.001)
    parser.add_argument("--days", type=int, default=3)
    parser.add_argument("--into", type=Path)
    parser.add_argument("--files", action="store_true")
    parser.add_argument("--memory-gb", type=float, default=MEMORY_GB)
    parser.add_argument("--prefect", action="store_true")
    parser.add_argument("--round", action="store_true", help=argparse.SUPPRESS)
    parser.add_argument("--today", type=date.fromisoformat, help=argparse.SUPPRESS)
    arguments = parser.parse_args()
    if arguments.round:
        found = one_round(
            arguments.drop,
            arguments.into,
            arguments.memory_gb,
            raw=False,
            today=arguments.today,
            prefect=arguments.prefect,
        )
        sys.stdout.write(json.dumps(found))
        return
    with tempfile.TemporaryDirectory() as temporary:
        folder = arguments.into or Path(temporary)
        drop = arguments.drop or folder / "drop"
        if arguments.drop is None:
            make_fleet_command(drop, arguments.sites or arguments.visits // 10, arguments.visits, 1)
        drops = split(drop, folder / "split", arguments.share, arguments.days)
        (folder / "dir").mkdir(parents=True)
        whole, *days = (
            run(drop, folder / "dir", arguments.memory_gb, prefect=arguments.prefect) for drop in drops
        )
    for found in (whole, *days):
        counted = [cost for name, cost in found["stages"].items() if name != "prefect"]
        found["stages"]["all stages"] = [sum(cost) for cost in zip(*counted, strict=True)]
    heads = ["history", *(f"day {n + 1}" for n in range(len(days))), "share"]
    sys.stdout.write(f"{'wall / cpu s':<14}" + "".join(f"{head:>17}" for head in heads) + "\n")
    for name, (wall, cpu) in whole["stages"].items():
        line = f"{name:<14}{wall:9.2f} {cpu:7.2f}"
        for day in days:
            line += f"{day['stages'][name][0]:9.2f} {day['stages'][name][1]:7.2f}"
        shares = [
            sum(d["stages"][name][kind] for d in days) / len(days) / (wall, cpu)[kind] for kind in (0, 1)
        ]
        sys.stdout.write(line + f"{shares[0]:9.1%} {shares[1]:7.1%}\n")
    sys.stdout.write(f"peak of memory {max(f['peak_gb'] for f in (whole, *days)):.2f} GB\n")
    if arguments.files:
        sys.stdout.write(dearest(days[-1]["files"]))


if __name__ == "__main__":
    main()
