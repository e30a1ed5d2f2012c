"""No query outlives its limits, in time or in memory, whatever it is made of; the door still answers afterwards."""

from __future__ import annotations

import resource
import subprocess
import sys
import time
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from pipeline.errors import UsageError
from pipeline.query import Door
from pipeline.query.limits import Limits, memory_ceiling

ROOT = Path(__file__).resolve().parents[2]
GREEDY = (
    "SELECT count(*) FROM visit_static AS a, visit_static AS b, visit_static AS c, visit_static AS d",
    "SELECT a.* FROM visit a, visit b, visit c ORDER BY a.return_static + b.return_static",
    "WITH RECURSIVE n AS (SELECT 1 AS i UNION ALL SELECT i + 1 FROM n) SELECT max(i) FROM n",
    "WITH RECURSIVE n AS (SELECT 1 AS i UNION ALL SELECT i FROM n, range(10)) SELECT count(*) FROM n",
    "SELECT * FROM range(1000000000000)",
    "SELECT sum(range) FROM range(1000000000000)",
    "SELECT list(range) FROM range(1000000000000)",
    "SELECT generate_series(1, 1000000000)",
    "SELECT range(100000000000)",
    "SELECT repeat('x', 4000000000)",
    "SELECT repeat('x', 100000000) FROM range(2048)",
    "SELECT string_agg(repeat('x', 1000000)) FROM range(100000)",
    "SELECT levenshtein(repeat('a', 200000), repeat('b', 200000))",
    "SELECT list_sort(range(300000000))",
)
STUBBORN = "SELECT len(list_distinct(range(10000000)))"  # looks up only after a minute


@pytest.fixture(scope="module")
def tight(tight_file: Path) -> Iterator[Door]:
    """A door with a second and half a GB; a long grace, so that a busy machine does not end the test's process."""
    with Door(tight_file) as opened:
        assert opened.limits == Limits(memory_gb=0.5, time_s=1, grace_s=1)
        opened.limits = replace(opened.limits, grace_s=60)
        yield opened


def test_limits_have_defaults(door: Door) -> None:
    assert door.limits == Limits(memory_gb=4, time_s=300, grace_s=5)


@pytest.mark.parametrize("query", GREEDY)
def test_a_greedy_query_ends(tight: Door, query: str) -> None:
    began = time.monotonic()
    held = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    with pytest.raises(UsageError, match=r"sql_time_limit_s|sql_memory_limit_gb|\d{10}|2\^32"):
        _count(tight, query)
    assert time.monotonic() - began < 30  # a second, and what a busy machine adds; they would take hours
    assert resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - held < 1_000_000  # kB
    assert _count(tight, "FROM site") == 60


def test_a_query_that_does_not_look_up_ends_with_the_process(tight_file: Path) -> None:
    began = time.monotonic()
    done = subprocess.run(
        [sys.executable, "-m", "pipeline.cli", "sql", str(tight_file.parent), STUBBORN],
        cwd=ROOT,
        capture_output=True,
        text=True,
        timeout=50,
        check=False,
    )
    assert (done.returncode, done.stdout) == (2, "")
    assert done.stderr == "fleet-static: the query was stopped after 1 s (setting sql_time_limit_s)\n"
    assert time.monotonic() - began < 40


def test_time_between_parts_does_not_count(tight: Door) -> None:
    rows = tight.ask("SELECT * FROM range(200000)")
    taken = 0
    for part in rows.parts:
        taken += part.num_rows
        if taken == part.num_rows:
            time.sleep(1.5)  # a reader at the other end of the pipe who takes a while
    assert taken == 200_000


def test_the_ceiling_is_lifted_again() -> None:
    before = resource.getrlimit(resource.RLIMIT_DATA)
    with memory_ceiling(0.5):
        assert 0 < resource.getrlimit(resource.RLIMIT_DATA)[0] < 8_000_000_000
    assert resource.getrlimit(resource.RLIMIT_DATA) == before


def _count(door: Door, query: str) -> int:
    return sum(part.num_rows for part in door.ask(query).parts)
