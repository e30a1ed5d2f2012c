"""How the cost grows with the visits: the whole run at several sizes, and the exponent from each size to the next.

    python -m tests.benchmarks.growth [visits ...] [--rounds N] [--memory-gb G] [--drop VISITS=DIR ...]

Medians over the rounds, each a process of its own as in `whole`, without Prefect. An exponent of 1 means that twice the
visits cost twice as much. `--memory-gb` bounds DuckDB; what does not fit is spilled into DIR.
"""

from __future__ import annotations

import argparse
import statistics
import sys
import tempfile
from math import log
from pathlib import Path
from typing import Any

from pipeline.simulate import make_fleet_command
from tests.benchmarks.whole import MEMORY_GB, rounds_of


def measure(visits: int, drop: Path | None, rounds: int, memory_gb: float) -> dict[str, Any]:
    """Medians of seconds of the wall and the processors, of their ratios to the raw read, and the peak of memory."""
    with tempfile.TemporaryDirectory() as folder:
        if drop is None:
            drop = Path(folder) / "drop"
            make_fleet_command(drop, visits // 10, visits, 1)
        found = rounds_of(drop, Path(folder), rounds, memory_gb)
    raw = [f["stages"].pop("raw read") for f in found]
    run = [tuple(sum(cost[kind] for cost in f["stages"].values()) for kind in (0, 1)) for f in found]
    return {
        "wall": statistics.median(r[0] for r in run),
        "cpu": statistics.median(r[1] for r in run),
        "wall ratio": statistics.median(r[0] / w[0] for r, w in zip(run, raw, strict=True)),
        "cpu ratio": statistics.median(r[1] / w[1] for r, w in zip(run, raw, strict=True)),
        "peak GB": max(f["peak_gb"] for f in found),
    }


def main() -> None:
    """A line a size, then the exponents."""
    parser = argparse.ArgumentParser()
    parser.add_argument("visits", nargs="*", type=int, default=[100_000, 1_000_000, 3_000_000])
    parser.add_argument("--rounds", type=int, default=3)
    parser.add_argument("--memory-gb", type=float, default=MEMORY_GB)
    parser.add_argument("--drop", action="append", default=[], metavar="VISITS=DIR")
    arguments = parser.parse_args()
    there = {int(size): Path(place) for size, place in (text.split("=", 1) for text in arguments.drop)}
    before: tuple[int, dict[str, Any]] | None = None
    for visits in arguments.visits:
        costs = measure(visits, there.get(visits), arguments.rounds, arguments.memory_gb)
        line = f"{visits:>12,} visits " + "".join(f"{name} {value:8.2f}  " for name, value in costs.items())
        if before is not None:
            grown = {k: log(costs[k] / before[1][k]) / log(visits / before[0]) for k in ("wall", "cpu")}
            line += f"exponent: wall {grown['wall']:.2f}, cpu {grown['cpu']:.2f}"
        sys.stdout.write(line + "\n")
        sys.stdout.flush()
        before = (visits, costs)


if __name__ == "__main__":
    main()
