"""The files of a drop one at a time, in any order, through the gate: in the end the same is published."""

from __future__ import annotations

import random
import shutil
from pathlib import Path

import pytest

from tests.conftest import NIGHTLY
from tests.faults.child import Job
from tests.faults.conftest import Before, Faults, content, difference


def _bits(faults: Faults, seed: int) -> list[tuple[Path, ...]]:
    """The files of the drop in a random order, one to three a run; with seed 0 what refers to others comes first."""
    files = sorted(p for p in faults.drop.iterdir() if p.is_file())
    rng = random.Random(seed)
    rng.shuffle(files)
    if seed == 0:
        names = ("visits", "work", "equipment")
        files.sort(key=lambda p: next((i for i, n in enumerate(names) if p.name.startswith(n)), 9))
    bits = []
    while files:
        n = 1 if seed == 0 else rng.randint(1, 3)
        bits.append(tuple(files[:n]))
        files = files[n:]
    return bits


@pytest.mark.slow
def test_any_order_and_split_publishes_the_same(faults: Faults, before: Before) -> None:
    def in_bits(seed: int) -> str:
        into = faults.place(f"order {seed}")
        log = Path(f"{into}.log")
        held = 0
        for bit in _bits(faults, seed):
            status = faults.run(Job(bit, into, log))
            said = log.read_text()
            if status == 1 and "the files are kept: each run tries again" in said:
                held += 1
                continue
            if status:
                return f"{[p.name for p in bit]}: {said}"
        if seed == 0 and not held:
            return "visits without their sites were not held"
        return difference(content(into / "fleet.duckdb"), before.new)

    wrong = faults.both(in_bits, [0, 1, 2] if NIGHTLY else [0])
    assert not wrong, "\n".join(wrong)


@pytest.mark.slow
def test_visits_that_wait_for_ever_hold_up_nobody(faults: Faults, before: Before) -> None:
    """Visits of strangers are refused by status 1 as often as they come; other drops go on, and are told of them."""
    into, drop = faults.place("strangers"), faults.place("strange")
    drop.mkdir()
    header, *rows = (faults.drop / "visits_part1.csv").read_text().splitlines()
    columns = header.split(",")
    strange = []
    for row in rows[:30]:
        values = dict(zip(columns, row.split(","), strict=False)) | {"site_id": "nobody's"}
        strange.append(",".join(values[c] for c in columns))
    (drop / "visits_strange.csv").write_text("\n".join([header, *strange]) + "\n")
    log = Path(f"{into}.log")
    shutil.copytree(before.into, into)
    for _ in range(2):
        assert faults.run(Job((drop,), into, log)) == 1
        assert "visits: 30 of 30 rows rejected (site_unknown 30), expected at most 5 %" in log.read_text()
        assert difference(content(into / "fleet.duckdb"), before.old) == ""
    assert faults.run(Job((faults.drop,), into, log)) == 0
    assert (
        "1 files of earlier runs still wait for rows that they refer to: visits_strange.csv"
        in log.read_text()
    )
    assert difference(content(into / "fleet.duckdb"), before.new) == ""
