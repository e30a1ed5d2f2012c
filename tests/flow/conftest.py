"""One Prefect server for the tests that do not look at its start or end."""

from __future__ import annotations

import fcntl
import os
import shutil
from collections.abc import Iterator
from datetime import date
from pathlib import Path

import pytest

from pipeline.prefect_server import template_path, temporary_server, write_template
from pipeline.stages import RunOrder


@pytest.fixture(scope="session")
def empty_history(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A migrated database without a run, so that each server need not migrate its own: made once for all workers."""
    if template_path().exists():
        return template_path()
    base = tmp_path_factory.getbasetemp()
    folder = base.parent if "PYTEST_XDIST_WORKER" in os.environ else base
    with (folder / "prefect.lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        template = folder / "prefect-template.db"
        return template if template.exists() else write_template(template)


@pytest.fixture(scope="session")
def server_url(empty_history: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    home = tmp_path_factory.mktemp("prefect")
    shutil.copyfile(empty_history, home / "prefect.db")
    with temporary_server(home) as server:
        yield server.url()


@pytest.fixture
def prefect_environment(monkeypatch: pytest.MonkeyPatch) -> None:
    """Whatever a run writes into the environment is taken back afterwards."""
    for name in [n for n in os.environ if n.startswith("PREFECT_")]:
        monkeypatch.delenv(name)
    for name in ("PREFECT_HOME", "PREFECT_LOGGING_LEVEL", "PREFECT_LOGGING_TO_API_ENABLED", "DO_NOT_TRACK"):
        monkeypatch.setenv(name, "")
        monkeypatch.delenv(name)
    monkeypatch.setenv("PREFECT_RESULTS_PERSIST_BY_DEFAULT", "false")
    monkeypatch.setenv("PREFECT_SERVER_ANALYTICS_ENABLED", "false")


@pytest.fixture
def order(tmp_path: Path) -> RunOrder:
    return RunOrder(drops=(), into=tmp_path / "into", today=date(2026, 3, 31))
