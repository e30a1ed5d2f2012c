"""Runs killed at any stage: the last publication stands, and the next run ends as if nothing had happened.

Kills at writes are spread evenly over the writes of every stage; others come at random times, and where a file grows
beyond a size, so that they strike inside DuckDB's own writing. FLEET_STATIC_NIGHTLY=1 kills ten times as often.
"""

from __future__ import annotations

import json
import random
import shutil
import signal
import sys
from filecmp import cmp
from pathlib import Path

import pytest

from pipeline.spare import spare_of
from pipeline.stages import STAGES
from tests.conftest import NIGHTLY
from tests.faults.child import Job, Kill
from tests.faults.conftest import FIRST, Before, Faults, content, difference

TIMES = 10 if NIGHTLY else 1
# Stages whose writes differ most. Nightly, every stage is killed.
MOST_TELLING = ("load", "check", "site", "publish", "report")
KILLED = -signal.SIGKILL
SPARE = spare_of(Path("fleet.duckdb")).name


def _kills(writes: dict[str, int]) -> list[Kill]:
    """The first write of all; of every stage its last one and others, before and after in turn.

    The first write of a later stage finds what the last one of the stage before has left.
    """
    rng = random.Random(20)
    kills = []
    for number, (stage, _) in enumerate(STAGES):
        n = writes.get(stage, 0) if NIGHTLY or stage in MOST_TELLING else 0
        chosen = {n, *(rng.randint(1, n) for _ in range(TIMES))} if n else set()
        if not kills:
            chosen.add(1)
        kills += [Kill(stage, place, after=(i + number) % 2 == 1) for i, place in enumerate(sorted(chosen))]
    return kills


def _stands(into: Path, before: Before) -> str:
    """The publication is whole: the one of before, or that of the run that was killed once it had been swapped in."""
    if cmp(into / "fleet.duckdb", before.into / "fleet.duckdb", shallow=False):
        return ""
    found = content(into / "fleet.duckdb")
    lacks_old = difference(found, before.old)
    return lacks_old and difference(found, before.new) and f"publication after the kill: {lacks_old}"


def _ends_well(
    faults: Faults,
    into: Path,
    before: Before,
    without: tuple[str, ...] = ("report",),
    *,
    copies: bool = False,
) -> str:
    wrong = _stands(into, before) or faults.run_again(into, without, copies=copies)
    wrong = wrong or difference(content(into / "fleet.duckdb"), before.new)
    kept = {"drops", "fleet.duckdb", "reports", "work.duckdb", ".lock"}
    left = {p.name for p in into.iterdir()} - kept - ({SPARE} if copies else set())
    shutil.rmtree(into)
    return wrong or (f"left behind: {sorted(left)}" if left else "")


@pytest.mark.slow
def test_killed_at_a_write(faults: Faults, before: Before) -> None:
    kills = _kills(before.writes)
    assert {k.stage for k in kills} == set(dict(STAGES) if NIGHTLY else MOST_TELLING)
    assert len(kills) >= 9

    def kill(at: Kill) -> str:
        into = faults.place(f"{at.stage} {at.write}")
        shutil.copytree(before.into, into)
        without = () if at.stage == "report" else ("report",)
        status = faults.run(Job((faults.drop,), into, Path(f"{into}.log"), at, without=without))
        return _ends_well(faults, into, before, without) if status == KILLED else f"ended with {status}"

    wrong = faults.both(kill, kills)
    assert not wrong, "\n".join(wrong)


@pytest.mark.slow
def test_killed_at_any_time_and_killed_again(faults: Faults, before: Before) -> None:
    """Twice at random times: the second kill strikes the run that was to mend what the first one left."""
    rng = random.Random(21)
    pairs = [(rng.uniform(0.1, 2.5), rng.uniform(0.1, 2.5)) for _ in range(2 * TIMES)]

    def kill(times: tuple[float, float]) -> str:
        into = faults.place("at any time")
        shutil.copytree(before.into, into)
        for seconds in times:
            faults.kill_at(Job((faults.drop,), into, Path(f"{into}.log")), seconds)
            if wrong := _stands(into, before):
                return wrong
        return _ends_well(faults, into, before)

    wrong = faults.both(kill, pairs)
    assert not wrong, "\n".join(wrong)


@pytest.mark.slow
def test_killed_inside_a_write_of_the_database(faults: Faults, before: Before) -> None:
    """The kernel kills the run as a file grows beyond a size: the work file, its log, or the new publication."""
    grown = (before.into / "work.duckdb").stat().st_size
    rng = random.Random(22)
    sizes = [300_000, grown // 2, *(rng.randint(100_000, grown) for _ in range(TIMES))]

    def kill(size: int) -> str:
        into = faults.place(f"{size} bytes")
        shutil.copytree(before.into, into)
        job = Job((faults.drop,), into, Path(f"{into}.log"), largest_file=size, kill_on_large=True)
        status = faults.run(job)
        return _ends_well(faults, into, before) if status == -signal.SIGXFSZ else f"ended with {status}"

    wrong = faults.both(kill, sizes)
    assert not wrong, "\n".join(wrong)


@pytest.mark.slow
def test_killed_while_the_work_file_is_copied(faults: Faults, before: Before) -> None:
    """A large publication begins as a copy of the work file; here a small one does."""
    counted, counts = faults.place("counted"), faults.place("counts.json")
    shutil.copytree(before.into, counted)
    job = Job((faults.drop,), counted, Path(f"{counted}.log"), counts=counts, copies=True)
    assert faults.run(job) == 0, job.log.read_text()
    assert difference(content(counted / "fleet.duckdb"), before.new) == ""
    last = json.loads(counts.read_text())["publish"]
    places = (*(range(8, 25 * TIMES, 4) if NIGHTLY else (16,)), last - 2, last)
    kills = [Kill("publish", place, after=i % 2 == 1) for i, place in enumerate(places)]

    def kill(at: Kill) -> str:
        into = faults.place(f"copied {at.write}")
        shutil.copytree(before.into, into)
        status = faults.run(Job((faults.drop,), into, Path(f"{into}.log"), at, copies=True))
        return _ends_well(faults, into, before) if status == KILLED else f"ended with {status}"

    wrong = faults.both(kill, kills)
    assert not wrong, "\n".join(wrong)


@pytest.mark.slow
@pytest.mark.skipif(sys.platform != "linux", reason="elsewhere no spare is written over")
def test_killed_while_the_spare_is_written_over(faults: Faults, before: Before) -> None:
    """The third of large publications is made out of the first."""
    spared, counts = faults.place("spared"), faults.place("counts.json")
    shutil.copytree(before.into, spared)
    first = tuple(faults.drop / name for name in FIRST)
    log = Path(f"{spared}.log")
    assert faults.run(Job(first, spared, log, copies=True)) == 0, log.read_text()
    assert (spared / SPARE).exists()
    counted = faults.place("counted")
    shutil.copytree(spared, counted)
    assert faults.run(Job((faults.drop,), counted, log, counts=counts, copies=True)) == 0, log.read_text()
    assert difference(content(counted / "fleet.duckdb"), before.new) == ""
    last = json.loads(counts.read_text())["publish"]
    assert last > 40, "the spare was not written over"
    places = sorted(
        {*range(6, last - 6, last // (2 * TIMES)), *range(last - 6, last + 1, 1 if NIGHTLY else 3)}
    )
    kills = [Kill("publish", place, after=i % 2 == 1) for i, place in enumerate(places)]

    def kill(at: Kill) -> str:
        into = faults.place(f"spared {at.write}")
        shutil.copytree(spared, into)
        status = faults.run(Job((faults.drop,), into, Path(f"{into}.log"), at, copies=True))
        return _ends_well(faults, into, before, copies=True) if status == KILLED else f"ended with {status}"

    wrong = faults.both(kill, kills)
    assert not wrong, "\n".join(wrong)


@pytest.mark.slow
def test_killed_in_a_new_folder(faults: Faults, before: Before) -> None:
    """Without a last publication there is none after the kill either, until a run ends well."""
    counts, log = faults.place("new.json"), faults.place("new.log")
    assert faults.run(Job((faults.drop,), faults.place("new"), log, counts=counts)) == 0, log.read_text()
    writes = json.loads(counts.read_text())
    kills = [Kill("gate", writes["gate"]), Kill("publish", writes["publish"] - 1)]

    def kill(at: Kill) -> str:
        into = faults.place(f"new {at.stage}")
        status = faults.run(Job((faults.drop,), into, Path(f"{into}.log"), at))
        if status != KILLED or (at.stage != "publish" and (into / "fleet.duckdb").exists()):
            return f"ended with {status}"
        wrong = faults.run_again(into)
        # load numbers and the split over two runs are no part of what is published
        return wrong or difference(content(into / "fleet.duckdb"), before.new)

    wrong = faults.both(kill, kills)
    assert not wrong, "\n".join(wrong)
