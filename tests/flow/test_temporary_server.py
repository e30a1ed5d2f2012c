"""Runs that start a server of their own: what they leave behind, however they end."""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from pipeline import prefect_server
from pipeline.errors import StageError

ROOT = Path(__file__).resolve().parent.parent.parent

RUN = """
import sys, time
from datetime import date
from pathlib import Path
from pipeline.flow import run_with_prefect
from pipeline.stages import RunOrder

def load(warehouse, order):
    warehouse.execute("CREATE TABLE a AS SELECT 1 AS n")
    (order.into / "loaded").touch()

def wait(warehouse, order):
    time.sleep(120)

order = RunOrder(drops=(), into=Path(sys.argv[1]), today=date(2026, 3, 31))
try:
    run_with_prefect(order, [("load", load)] + ([("wait", wait)] if sys.argv[2] == "wait" else []))
except KeyboardInterrupt:
    sys.exit(130)
"""

SERVER_ONLY = """
import sys, time
from pathlib import Path
from pipeline.prefect_server import TemporaryServer

into = Path(sys.argv[1])
TemporaryServer(into / ".prefect").url()
(into / "loaded").touch()
time.sleep(120)
"""


@pytest.fixture
def into(tmp_path: Path, empty_history: Path) -> Path:
    home = tmp_path / "into" / ".prefect"
    home.mkdir(parents=True)
    shutil.copyfile(empty_history, home / "prefect.db")
    return tmp_path / "into"


def start(script: str, into: Path, then: str = "end") -> subprocess.Popen[str]:
    """A process of its own, with an empty HOME beside `into` and an empty folder to stand in."""
    home, here = into.parent / "home", into.parent / "here"
    home.mkdir()
    here.mkdir()
    clean = {k: v for k, v in os.environ.items() if not k.startswith(("PREFECT_", "GX_", "XDG_"))}
    return subprocess.Popen(
        [sys.executable, "-c", script, str(into), then],
        cwd=here,
        env={**clean, "HOME": str(home), "PYTHONPATH": str(ROOT), "PYTHONDONTWRITEBYTECODE": "1"},
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )


def processes_of(into: Path) -> Iterator[int]:
    """Processes whose Prefect home lies in `into`."""
    mark = f"PREFECT_HOME={into / '.prefect'}".encode()
    for folder in Path("/proc").glob("[0-9]*"):
        try:
            if mark in (folder / "environ").read_bytes().split(b"\0"):
                yield int(folder.name)
        except OSError:
            continue


def wait_until_gone(into: Path, seconds: float = 20.0) -> None:
    deadline = time.monotonic() + seconds
    while (alive := list(processes_of(into))) and time.monotonic() < deadline:
        time.sleep(0.1)
    assert alive == []


def wait_for(file: Path, process: subprocess.Popen[str], seconds: float = 120.0) -> None:
    deadline = time.monotonic() + seconds
    while not file.exists():
        assert process.poll() is None, process.communicate()
        assert time.monotonic() < deadline
        time.sleep(0.1)


@pytest.mark.slow
def test_a_run_is_silent_and_leaves_nothing_outside_its_folder(into: Path) -> None:
    run = start(RUN, into)
    assert run.communicate(timeout=180) == ("", "")
    assert run.returncode == 0
    wait_until_gone(into, 0.0)
    assert list((into.parent / "home").rglob("*")) == []
    assert list((into.parent / "here").rglob("*")) == []
    assert {p.name for p in into.iterdir()} == {".prefect", "work.duckdb", "loaded"}
    assert not (into / ".prefect" / "server.log").read_bytes()


@pytest.mark.slow
def test_an_interrupted_run_ends_quietly_and_takes_its_server_with_it(into: Path) -> None:
    run = start(RUN, into, "wait")
    wait_for(into / "loaded", run)
    assert list(processes_of(into)) != []
    run.send_signal(signal.SIGINT)
    assert run.communicate(timeout=60) == ("", "")
    assert run.returncode == 130
    wait_until_gone(into, 0.0)


@pytest.mark.slow
def test_a_killed_process_takes_its_server_with_it(into: Path) -> None:
    run = start(SERVER_ONLY, into)
    wait_for(into / "loaded", run)
    assert list(processes_of(into)) != []
    run.kill()
    run.communicate()
    wait_until_gone(into)


@pytest.mark.slow
def test_an_unreadable_history_is_set_aside(
    tmp_path: Path, empty_history: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(prefect_server, "template_path", lambda: empty_history)
    (tmp_path / "prefect.db").write_bytes(b"this is no database" * 100)
    with prefect_server.temporary_server(tmp_path) as server:
        assert server.url().startswith("http://127.0.0.1:")
    assert (tmp_path / "prefect.db.unreadable").read_bytes().startswith(b"this is no database")


def test_a_server_that_is_too_slow_is_an_error_with_its_limit(tmp_path: Path) -> None:
    with (
        prefect_server.temporary_server(tmp_path) as server,
        pytest.raises(StageError, match=r"did not start within 0\.01 s"),
    ):
        server.url(limit_s=0.01)
