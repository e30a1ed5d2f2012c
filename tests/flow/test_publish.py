"""The two ways to make a publication, tables written anew and a copy of the work file: readers see no difference."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from pathlib import Path

import duckdb
import pytest

from pipeline import publish as publishing
from pipeline.catalog import table_entry
from pipeline.errors import StageError
from pipeline.export import export
from pipeline.load.inputs import VISITS
from pipeline.stages import RunOrder
from pipeline.warehouse import Warehouse
from tests.conftest import FIELD_TODAY, asking
from tests.faults.conftest import content, difference

Publish = Callable[[int], Path]


@pytest.fixture
def publish(small_file: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Publish:
    """Publish the small fleet's work file, as a copy if it has at least so many bytes; the published file."""

    def published(small: int) -> Path:
        monkeypatch.setattr(publishing, "SMALL", small)
        order = RunOrder((), tmp_path / str(small), FIELD_TODAY)
        order.into.mkdir(exist_ok=True)
        shutil.copyfile(small_file.with_name("work.duckdb"), order.work_file)
        with Warehouse(order.work_file) as warehouse:
            warehouse.set_variable("today", FIELD_TODAY, "DATE")
            publishing.publish(warehouse, order)
        return order.published_file

    return published


def test_a_copy_holds_the_same_as_tables_written_anew(publish: Publish) -> None:
    anew, copied = publish(10**12), publish(0)
    assert len(content(copied)) > 35
    assert difference(content(anew), content(copied)) == ""
    assert {p.name for p in copied.parent.iterdir()} == {"work.duckdb", "fleet.duckdb"}


def test_a_copy_holds_nothing_else(publish: Publish) -> None:
    with duckdb.connect(str(publish(0)), read_only=True) as con:
        names = {n for (n,) in con.sql("SELECT table_name FROM dictionary").fetchall()}
        there = con.sql(
            "SELECT schema_name, table_name FROM duckdb_tables() "
            "UNION ALL SELECT schema_name, view_name FROM duckdb_views() WHERE NOT internal"
        ).fetchall()
        behind = {name for stands_on in publishing.VIEWS.values() for name in stands_on if "." in name}
        assert behind >= {VISITS.staged, VISITS.fates, "staging.visit_measured"}
        assert {(s, n) for s, n in there if (s, n) != ("main", n) or n not in names} == {
            tuple(name.split(".")) for name in behind
        }
        views = con.sql(
            "SELECT view_name, comment FROM duckdb_views() WHERE schema_name = 'main' AND NOT internal"
        ).fetchall()
        assert dict(views) == {name: table_entry(name).comment for name in publishing.VIEWS}
        assert con.sql("SHOW TABLES").pl().height == len(names)


def test_a_column_without_a_meaning_is_not_published() -> None:
    with Warehouse() as warehouse:
        columns = ", ".join(f"NULL AS {column.name}" for column in table_entry("site").columns)
        warehouse.execute(f"CREATE TABLE site AS SELECT {columns}")
        publishing.hold_to_catalog(warehouse, ["site"])
        warehouse.execute(f"CREATE OR REPLACE TABLE site AS SELECT {columns}, 1 AS colour")
        with pytest.raises(StageError, match=r"only the table has \['colour'\], only the entry \[\]"):
            publishing.hold_to_catalog(warehouse, ["site"])


@pytest.mark.parametrize(
    "said", ["UPDATE staging.macros_as_of SET sha256 = 'other'", "DROP TABLE staging.macros_as_of"]
)
def test_a_macro_of_an_earlier_version_is_gone(small_file: Path, tmp_path: Path, said: str) -> None:
    work = shutil.copyfile(small_file.with_name("work.duckdb"), tmp_path / "work.duckdb")
    with duckdb.connect(str(work)) as con:
        before = con.sql(
            "SELECT function_name FROM duckdb_functions() WHERE NOT internal ORDER BY ALL"
        ).fetchall()
        con.execute("CREATE MACRO of_old(a) AS a + 1")
        con.execute("CREATE MACRO table_of_old(a) AS TABLE SELECT a")
        con.execute(said)
    with Warehouse(work) as warehouse:
        rows = warehouse.con.sql(
            "SELECT function_name FROM duckdb_functions() WHERE NOT internal AND database_name = 'work' ORDER BY ALL"
        ).fetchall()
    assert rows == before


def test_a_file_that_holds_the_macros_is_opened_without_making_them(small_file: Path, tmp_path: Path) -> None:
    """What this test puts in stays, for it is not looked at; nothing of it is published."""
    work = shutil.copyfile(small_file.with_name("work.duckdb"), tmp_path / "work.duckdb")
    with duckdb.connect(str(work)) as con:
        con.execute("CREATE MACRO of_test(a) AS a + 1")
    with Warehouse(work) as warehouse, warehouse.released():
        pass
    with Warehouse(work) as warehouse:
        assert warehouse.scalar("SELECT of_test(1)") == 2
    with asking(small_file) as ask:
        assert "macros_as_of" not in ask("SELECT table_name FROM duckdb_tables()")["table_name"].to_list()


def test_a_copy_is_exported_whole(publish: Publish, tmp_path: Path) -> None:
    (visits,) = (t for t in export(publish(0), tmp_path / "export")["tables"] if t["name"] == "visit")
    assert visits["rows"] > 1000
    assert visits["meaning"] == table_entry("visit").comment
    assert visits["columns"][0]["meaning"] == table_entry("visit").columns[0].comment


def test_what_a_killed_run_left_of_a_copy_is_no_part_of_the_next(publish: Publish, tmp_path: Path) -> None:
    before = content(publish(0))
    new = publish(0).with_name("fleet.duckdb.new")
    with duckdb.connect(str(tmp_path / "dies")) as con:
        con.execute("CREATE TABLE site AS SELECT 1 AS site_id")
        for ending in ("", ".wal"):  # as they stand when the process is killed
            shutil.copyfile(tmp_path / f"dies{ending}", f"{new}{ending}")
    assert difference(before, content(publish(0))) == ""
    assert not list(new.parent.glob("*.new*"))
