"""Fixtures that many tests share: fleets run once a session, without Prefect, gate or pages."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import date
from pathlib import Path

import duckdb
import polars as pl
import pytest

from pipeline.settings import Settings
from pipeline.stages import STAGES, RunOrder
from pipeline.warehouse import Warehouse
from seed_data import DEMO_DROP, DEMO_TODAY

# More of what takes long: DEVELOPERS.md, "To test".
NIGHTLY = os.environ.get("FLEET_STATIC_NIGHTLY") == "1"
ROOT = Path(__file__).resolve().parent.parent
FIELD_DROP = ROOT.parent / "shared" / "field_drop"
FIELD_TODAY = date(2026, 11, 25)
# For tests of any whole drop: the field drop, and in a lone checkout the demo's.
WHOLE_DROP, WHOLE_TODAY = (FIELD_DROP, FIELD_TODAY) if FIELD_DROP.is_dir() else (DEMO_DROP, DEMO_TODAY)

Query = Callable[[str], pl.DataFrame]


def run_stages(
    drops: list[Path], into: Path, today: date, *, without: tuple[str, ...] = ("gate", "report")
) -> Path:
    """Run the stages on the drops and return the published file."""
    into.mkdir(parents=True, exist_ok=True)
    order = RunOrder(tuple(drops), into, today, settings=Settings())
    with Warehouse(order.work_file, order.settings) as warehouse:
        for name, stage in STAGES:
            if name not in without:
                stage(warehouse, order)
    return order.published_file


def query_of(published: Path) -> Query:
    """A function that asks the published file and gives Polars frames; it opens the file for each query."""

    def ask(sql: str) -> pl.DataFrame:
        with asking(published) as query:
            return query(sql)

    return ask


@contextmanager
def asking(published: Path) -> Iterator[Query]:
    """Likewise for many queries of a file that nothing replaces meanwhile: opening it takes longer than most."""
    with duckdb.connect(str(published), read_only=True) as con:
        con.execute("SET TimeZone = 'UTC'")
        yield lambda sql: con.sql(sql).pl()


@pytest.fixture(scope="session")
def field_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The publication of the drop that nobody on the team wrote."""
    if not FIELD_DROP.is_dir():
        pytest.skip("the shared field drop does not lie beside this checkout")
    return run_stages([FIELD_DROP], tmp_path_factory.mktemp("field"), FIELD_TODAY)


@pytest.fixture(scope="session")
def field(field_file: Path) -> Query:
    """Ask the publication of the field drop."""
    return query_of(field_file)


@pytest.fixture(scope="session")
def small_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The publication of a small synthetic fleet."""
    from pipeline.simulate import make_fleet_command

    drop = tmp_path_factory.mktemp("small") / "drop"
    make_fleet_command(drop, 60, 1500, 7)
    return run_stages([drop], drop.parent / "out", FIELD_TODAY, without=("gate", "contracts", "report"))


@pytest.fixture(scope="session")
def demo_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The publication of the demo fleet."""
    return run_stages(
        [DEMO_DROP], tmp_path_factory.mktemp("demo"), DEMO_TODAY, without=("gate", "contracts", "report")
    )
