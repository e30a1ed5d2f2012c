"""A work file with every table filled, from a small synthetic fleet; each test gets a copy or a rollback."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest

from pipeline.stages import RunOrder
from pipeline.warehouse import Warehouse
from tests.conftest import FIELD_TODAY


@pytest.fixture(scope="session")
def finished(small_file: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Warehouse]:
    """The work file of a finished run, open; tests that change it roll their changes back."""
    copy = tmp_path_factory.mktemp("finished") / "work.duckdb"
    shutil.copyfile(small_file.parent / "work.duckdb", copy)
    with Warehouse(copy) as warehouse:
        _as_tables(warehouse)
        warehouse.set_variable("today", FIELD_TODAY, "DATE")
        yield warehouse


def _as_tables(warehouse: Warehouse) -> None:
    """A cleaned table may be a view on the staged one; a fault can be planted in a table only."""
    for (view,) in warehouse.con.sql(
        "SELECT view_name FROM duckdb_views() WHERE schema_name = 'main' AND NOT internal"
    ).fetchall():
        warehouse.execute(f"CREATE TABLE as_table AS SELECT * FROM {view}")
        warehouse.execute(f"DROP VIEW {view}")
        warehouse.execute(f"ALTER TABLE as_table RENAME TO {view}")


@pytest.fixture
def own(small_file: Path, tmp_path: Path) -> Iterator[Warehouse]:
    """A copy of the same work file for one test alone."""
    shutil.copyfile(small_file.parent / "work.duckdb", tmp_path / "work.duckdb")
    with Warehouse(tmp_path / "work.duckdb") as warehouse:
        warehouse.set_variable("today", FIELD_TODAY, "DATE")
        yield warehouse


@pytest.fixture
def order(tmp_path: Path) -> RunOrder:
    return RunOrder(drops=(), into=tmp_path, today=FIELD_TODAY)
