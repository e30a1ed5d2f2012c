"""Doors to a small publication, one of them with tight limits."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path

import duckdb
import pytest

from pipeline.query import Door


@pytest.fixture
def door(small_file: Path) -> Iterator[Door]:
    """The small fleet, opened as an analyst opens it."""
    with Door(small_file) as opened:
        yield opened


@pytest.fixture(scope="session")
def tight_file(small_file: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The small fleet as a run publishes it whose settings allow a query 1 s, 1 s to stop and half a GB."""
    path = tmp_path_factory.mktemp("tight") / "fleet.duckdb"
    shutil.copy(small_file, path)
    with duckdb.connect(str(path)) as con:
        for name, value in (("sql_time_limit_s", 1), ("sql_grace_s", 1), ("sql_memory_limit_gb", 0.5)):
            con.execute("UPDATE setting SET value = ? WHERE name = ?", [value, name])
    return path
