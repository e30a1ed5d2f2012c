"""Every example of `sql/examples/` on one publication, through the analyst's door.

    python -m tests.benchmarks.examples [DIR] [--visits N] [--rounds N]

DIR holds a publication; without it a fleet of N visits (3 million) is made and run first. Prints the median seconds of
each example, the slowest first; a door is opened anew for each, as `fleet-static sql` does.
"""

from __future__ import annotations

import argparse
import statistics
import sys
import tempfile
import time
from pathlib import Path

from pipeline.query import Door
from pipeline.runner import run_drops
from pipeline.simulate import make_fleet_command
from pipeline.warehouse import SQL_DIR
from tests.benchmarks.whole import TODAY


def seconds(published: Path, query: str) -> float:
    """Wall seconds to open the publication, ask, and fetch every row."""
    started = time.perf_counter()
    with Door(published) as door:
        for part in door.ask(query).parts:
            part.num_rows  # noqa: B018 (the parts are fetched one by one)
    return time.perf_counter() - started


def ask_all(published: Path, rounds: int) -> dict[str, float]:
    """Median seconds of each example."""
    files = sorted((SQL_DIR / "examples").glob("*.sql"))
    queries = {f.stem: f.read_text(encoding="utf-8") for f in files}
    return {
        name: statistics.median(seconds(published, query) for _ in range(rounds))
        for name, query in queries.items()
    }


def main() -> None:
    """Print a line an example."""
    parser = argparse.ArgumentParser()
    parser.add_argument("into", nargs="?", type=Path)
    parser.add_argument("--visits", type=int, default=3_000_000)
    parser.add_argument("--rounds", type=int, default=3)
    arguments = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        into = arguments.into or Path(folder) / "out"
        if arguments.into is None:
            drop = Path(folder) / "drop"
            make_fleet_command(drop, arguments.visits // 10, arguments.visits, 1)
            run_drops([drop], into, today=TODAY, direct=True, quiet=True)
        answers = ask_all(into / "fleet.duckdb", arguments.rounds)
    for name, wall in sorted(answers.items(), key=lambda item: -item[1]):
        sys.stdout.write(f"{name:<32}{wall:7.2f} s\n")


if __name__ == "__main__":
    main()
