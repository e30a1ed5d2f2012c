"""Runs on a Dask cluster: equal tables, a killed worker survived, a lost scheduler told, nothing half published."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from datetime import date
from pathlib import Path

import pytest
from distributed import Client

from pipeline.errors import StageError, UsageError
from pipeline.scale.cluster import read_cluster, shared_storage
from pipeline.scale.part import PartOrder, run_part
from pipeline.scale.shared import Shared
from pipeline.settings import Settings
from pipeline.simulate import make_fleet_command
from pipeline.warehouse import Warehouse
from tests.conftest import run_stages
from tests.test_determinism import assert_same

TODAY = date(2026, 11, 1)
PATIENCE_S = 240


@pytest.fixture(scope="module")
def drop(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("fleet") / "drop"
    make_fleet_command(folder, 60, 700, 1)
    return folder


@pytest.fixture(scope="module")
def whole(drop: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    return run_stages([drop], tmp_path_factory.mktemp("whole"), TODAY, without=("report",))


def start(drop: Path, into: Path, cluster: str, *options: str) -> subprocess.Popen[str]:
    command = [
        "run",
        str(drop),
        "--into",
        str(into),
        "--today",
        TODAY.isoformat(),
        "--cluster",
        cluster,
        *options,
    ]
    environment = {k: v for k, v in os.environ.items() if not k.startswith("PREFECT_")}
    return subprocess.Popen(
        [sys.executable, "-m", "pipeline.cli", *command],
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        env=environment,
    )


def wait_until(happened: Callable[[], bool], run: subprocess.Popen[str]) -> None:
    """Until it happened; a run that ends before fails the test with what it said."""
    started = time.monotonic()
    while not happened():
        assert run.poll() is None, run.communicate()[0]
        assert time.monotonic() - started < PATIENCE_S
        time.sleep(0.02)


def at_work(into: Path) -> list[int]:
    """Process numbers of the workers that are at a part: each has a scratch folder for the time of its task."""
    try:
        return [int(p.name.split("-")[2]) for p in (into / "workers").rglob("fleet-static-*-*")]
    except OSError:  # folders come and go
        return []


def test_a_worker_killed_at_work(
    drop: Path, whole: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A worker dies in the middle of its part; another does it again, and the tables are those of a whole run.

    DIR holds everything (data contract, section 5): nothing is left among the machine's temporary files. Parts pass
    through a file system of fsspec, named by URL, and are gone at the end; what lay beside them stays.
    """
    into, temporary, shared = tmp_path / "into", tmp_path / "temporary", tmp_path / "shared"
    temporary.mkdir()
    shared.mkdir()
    (shared / "of_others").write_text("stays")
    monkeypatch.setenv("TMPDIR", str(temporary))
    monkeypatch.setenv("FSSPEC_LOCAL", '{"auto_mkdir": true}')  # as object stores do
    run = start(drop, into, "local:2", "--shared", f"local://{shared}")
    wait_until(lambda: bool(at_work(into)), run)
    (victim, *_) = at_work(into)
    assert list(shared.glob("fleet-static-*/visit"))
    os.kill(victim, signal.SIGKILL)
    said = run.communicate(timeout=PATIENCE_S)[0]
    assert run.returncode == 0, said
    assert not (into / "parts").exists()
    assert [path.name for path in shared.iterdir()] == ["of_others"]
    assert list(temporary.iterdir()) == []
    assert_same(whole, into / "fleet.duckdb")


def dask(what: str, *options: str) -> subprocess.Popen[bytes]:
    return subprocess.Popen(
        [sys.executable, "-m", f"distributed.cli.dask_{what}", *options, "--no-dashboard"],
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )


@pytest.fixture
def scheduler(tmp_path: Path) -> Iterator[tuple[str, subprocess.Popen[bytes]]]:
    """A Dask scheduler with two workers of its own, as somebody else would start them: address and process."""
    file = tmp_path / "scheduler.json"
    scheduler = dask("scheduler", "--host", "127.0.0.1", "--port", "0", "--scheduler-file", str(file))
    workers = dask("worker", "--scheduler-file", str(file), "--nworkers", "2", "--nthreads", "1")
    try:
        yield address_in(file), scheduler
    finally:
        for process in (workers, scheduler):
            process.terminate()
        for process in (workers, scheduler):
            process.wait(timeout=60)


def address_in(file: Path) -> str:
    started = time.monotonic()
    while not file.exists():
        assert time.monotonic() - started < PATIENCE_S
        time.sleep(0.05)
    address = str(json.loads(file.read_text())["address"])
    with Client(address, timeout=60, set_as_default=False) as client:
        client.wait_for_workers(2, timeout=PATIENCE_S)
    return address


def test_a_cluster_that_is_there_and_its_scheduler_lost(
    drop: Path, whole: Path, tmp_path: Path, scheduler: tuple[str, subprocess.Popen[bytes]]
) -> None:
    """A sound run; then the scheduler is killed during the next: it ends with a reason, the publication stands."""
    address, process = scheduler
    into = tmp_path / "into"
    run = start(drop, into, address.removeprefix("tcp://"))
    said = run.communicate(timeout=PATIENCE_S)[0]
    assert run.returncode == 0, said
    assert_same(whole, into / "fleet.duckdb")
    before = (into / "fleet.duckdb").read_bytes()

    run = start(drop, into, address)
    wait_until(lambda: (into / "parts" / "visit").is_dir(), run)
    process.kill()
    said = run.communicate(timeout=PATIENCE_S)[0]
    assert run.returncode == StageError.exit_status, said
    assert "the cluster could not finish run_part" in said
    assert "the last publication stands" in said
    assert "Traceback" not in said
    assert (into / "fleet.duckdb").read_bytes() == before
    assert not (into / "parts").exists()


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("local:0", "expected local:N with N workers"),
        ("local:two", "expected local:N with N workers"),
        ("127.0.0.1:9", "no Dask scheduler answers there"),
        ("192.0.2.7:8786", "set PREFECT_API_URL"),
    ],
)
def test_clusters_that_cannot_be_used(text: str, expected: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("PREFECT_API_URL", raising=False)
    monkeypatch.setattr("pipeline.scale.cluster.CONNECT_S", 1)
    with pytest.raises(UsageError, match=expected):
        read_cluster(text)


def test_a_worker_of_another_version(tmp_path: Path) -> None:
    order = PartOrder("measure", 0, 0, 0, {}, Shared(str(tmp_path)), Settings(), {}, version="0.0.1")
    with pytest.raises(UsageError, match="install the same version everywhere"):
        run_part(order)


def test_an_object_store_that_cannot_be_reached(tmp_path: Path) -> None:
    """Nothing is installed for such URLs; what is said names what would do."""
    with (
        Warehouse() as warehouse,
        pytest.raises(UsageError, match="neither DuckDB's httpfs extension nor a file sys"),
    ):
        shared_storage("nowhere://bucket/folder", tmp_path).prepare(warehouse)


def test_two_runs_share_a_folder(tmp_path: Path) -> None:
    """Runs into different folders never write, or delete, in one place."""
    roots = {shared_storage(str(tmp_path), tmp_path / name).root for name in ("one", "other")}
    assert len(roots) == 2
    assert all(Path(root).parent == tmp_path for root in roots)
