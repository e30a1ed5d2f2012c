"""A full disk, files that cannot be read or are still being written, and two runs into one folder."""

from __future__ import annotations

import os
import shutil
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.conftest import NIGHTLY
from tests.faults.child import Job
from tests.faults.conftest import FIRST, Before, Faults, content, difference

MEGABYTE = 1 << 20


def _refused(faults: Faults, before: Before, into: Path, job: Job) -> str:
    """Run into a fault: exit status 2, a message and no traceback, and the last publication stands; the message."""
    status = faults.run(job)
    said = job.log.read_text()
    assert status == 2, said
    assert "Traceback" not in said
    assert difference(content(into / "fleet.duckdb"), before.old) == ""
    return said.partition("fleet-static: ")[2]


@pytest.mark.slow
@pytest.mark.parametrize("largest", [200_000, 3 * MEGABYTE, 6 * MEGABYTE] if NIGHTLY else [3 * MEGABYTE])
def test_a_write_that_fails(faults: Faults, before: Before, largest: int) -> None:
    """A limit on the size of files stands in for a quota: the work file, its log or the publication cannot grow."""
    into = faults.place(f"limit {largest}")
    shutil.copytree(before.into, into)
    job = Job((faults.drop,), into, Path(f"{into}.log"), largest_file=largest)
    assert "File too large" in _refused(faults, before, into, job)
    assert faults.run_again(into) == ""
    assert difference(content(into / "fleet.duckdb"), before.new) == ""


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """A file system in memory; only root can mount one."""
    disk = tmp_path / "disk"
    disk.mkdir()
    mount = ["mount", "-t", "tmpfs", "-o", "size=200m", "tmpfs", str(disk)]
    if shutil.which("mount") is None or subprocess.run(mount, capture_output=True, check=False).returncode:
        pytest.skip("needs the right to mount a tmpfs")
    yield disk
    subprocess.run(["umount", "-l", str(disk)], check=True)


@pytest.mark.slow
@pytest.mark.parametrize("free", [0, 1, 8] if NIGHTLY else [1])
def test_a_full_disk(faults: Faults, before: Before, small_disk: Path, free: int) -> None:
    into = small_disk / "into"
    shutil.copytree(before.into, into)
    ballast = small_disk / "ballast"
    room = shutil.disk_usage(small_disk).free - free * MEGABYTE
    with ballast.open("wb") as file:
        os.posix_fallocate(file.fileno(), 0, room)
    said = _refused(faults, before, into, Job((faults.drop,), into, faults.place("full.log")))
    assert "no space left" in said.lower()
    ballast.unlink()
    log = faults.place("again.log")
    assert faults.run(Job((faults.drop,), into, log)) == 0, log.read_text()
    assert difference(content(into / "fleet.duckdb"), before.new) == ""


@pytest.mark.slow
def test_two_runs_at_once_into_one_folder(faults: Faults, before: Before) -> None:
    into = faults.place("both")
    halves = (tuple(faults.drop / name for name in FIRST), (faults.drop,))
    jobs = [Job(half, into, Path(f"{into}.{i}")) for i, half in enumerate(halves)]
    running = [faults.start(job) for job in jobs]
    for process in running:
        process.join(120)
    assert sorted(p.exitcode or 0 for p in running) == [0, 2]
    (loser,) = (job for job, process in zip(jobs, running, strict=True) if process.exitcode == 2)
    assert f"{into} is in use by process " in loser.log.read_text()
    for job in jobs:
        assert faults.run(job) == 0, job.log.read_text()
    assert difference(content(into / "fleet.duckdb"), before.new) == ""


@pytest.mark.slow
def test_a_file_that_was_still_being_written(faults: Faults, before: Before) -> None:
    drop, into = faults.place("growing") / "drop", faults.place("growing")
    shutil.copytree(faults.drop, drop)
    shutil.copytree(before.into, into)
    whole = (drop / "visits_part2.csv").read_bytes()
    (drop / "visits_part2.csv").write_bytes(whole[: whole.rindex(b"\n", 0, -1) - 40])
    log = faults.place("growing.log")
    assert faults.run(Job((drop,), into, log)) == 0, log.read_text()
    assert faults.run_again(into) == ""
    assert difference(content(into / "fleet.duckdb"), before.new) == ""


@pytest.mark.slow
def test_a_file_that_cannot_be_read(faults: Faults, before: Before) -> None:
    drop, into = faults.place("drop"), faults.place("unreadable")
    shutil.copytree(faults.drop, drop)
    shutil.copytree(before.into, into)
    (drop / "visits_gone.csv").symlink_to(drop / "nowhere.csv")
    (drop / "visits_packed.csv.gz").write_bytes(b"\x1f\x8b\x08\x00 nonsense")
    said = _refused(faults, before, into, Job((drop,), into, Path(f"{into}.log")))
    assert said.splitlines()[0] == "visits_gone.csv: cannot be read: No such file or directory"
    assert said.splitlines()[1].startswith("visits_packed.csv.gz: cannot be unpacked (")
    (drop / "visits_gone.csv").unlink()
    (drop / "visits_packed.csv.gz").unlink()
    assert faults.run(Job((drop,), into, Path(f"{into}.log"))) == 0
    assert difference(content(into / "fleet.duckdb"), before.new) == ""
