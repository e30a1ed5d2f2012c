"""An export read back equals what was published, by another engine too, and its manifest tells the truth."""

from __future__ import annotations

import hashlib
import json
from pathlib import Path
from typing import Any

import duckdb
import polars as pl
import pytest
from polars.testing import assert_frame_equal

from pipeline.cli import main
from pipeline.errors import UsageError
from pipeline.export import PARTITIONED, export


@pytest.fixture(scope="module")
def folder(small_file: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The small fleet, exported from the command line."""
    into = tmp_path_factory.mktemp("exported") / "parquet"
    assert main(["export", str(small_file.parent), "--into", str(into)]) == 0
    return into


@pytest.fixture(scope="module")
def manifest(folder: Path) -> dict[str, Any]:
    read: dict[str, Any] = json.loads((folder / "manifest.json").read_text(encoding="utf-8"))
    return read


def test_read_back_by_polars(small_file: Path, folder: Path, manifest: dict[str, Any]) -> None:
    with duckdb.connect(str(small_file), read_only=True) as con:
        con.execute("SET TimeZone = 'UTC'")
        for table in manifest["tables"]:
            name = table["name"]
            key = [c["name"] for c in table["columns"]]
            published = con.sql(f'SELECT * FROM "{name}"').pl()
            read = pl.read_parquet(
                folder / name / "**/*.parquet" if name in PARTITIONED else folder / f"{name}.parquet"
            )
            assert_frame_equal(
                read.select(published.columns), published, check_row_order=name not in PARTITIONED
            )
            assert key == published.columns
            assert table["rows"] == published.height


def test_read_back_by_duckdb_with_its_partitions(small_file: Path, folder: Path) -> None:
    with duckdb.connect() as con:
        con.execute("SET TimeZone = 'UTC'")
        con.execute(f"ATTACH '{small_file}' AS fleet (READ_ONLY)")
        for name in PARTITIONED:
            files = f"read_parquet('{folder / name}/*/*.parquet', hive_partitioning = true)"
            differ = con.sql(
                f"SELECT * FROM ((SELECT * EXCLUDE (year) FROM {files}) EXCEPT ALL FROM fleet.{name}) "
                f"UNION ALL (FROM fleet.{name} EXCEPT ALL SELECT * EXCLUDE (year) FROM {files})"
            )
            assert differ.fetchall() == []
            assert con.sql(f"SELECT count(*) FROM {files} WHERE year <> year(visited_on)").fetchall() == [
                (0,)
            ]


def test_the_manifest_lists_every_file_with_its_bytes(folder: Path, manifest: dict[str, Any]) -> None:
    listed = [file for table in manifest["tables"] for file in table["files"]]
    there = {p.relative_to(folder).as_posix() for p in folder.rglob("*") if p.is_file()}
    assert {file["path"] for file in listed} == there - {"manifest.json"}
    for file in listed:
        content = (folder / file["path"]).read_bytes()
        assert (len(content), hashlib.sha256(content).hexdigest()) == (file["bytes"], file["sha256"])


def test_the_manifest_carries_the_publication_and_the_dictionary(
    small_file: Path, manifest: dict[str, Any]
) -> None:
    with duckdb.connect(str(small_file), read_only=True) as con:
        con.execute("SET TimeZone = 'UTC'")
        (row,) = con.sql("SELECT today::VARCHAR, version, published_at::VARCHAR FROM publication").fetchall()
    assert row == tuple(manifest["publication"][k] for k in ("today", "version", "published_at"))
    assert manifest["publication"]["settings"]["min_visits"] == 3
    (visits,) = [t for t in manifest["tables"] if t["name"] == "visit_static"]
    (tesp,) = [c for c in visits["columns"] if c["name"] == "tesp_inwc"]
    assert "supply_inwc - return_inwc" in tesp["meaning"]


def test_the_same_publication_gives_the_same_bytes(
    small_file: Path, manifest: dict[str, Any], tmp_path: Path
) -> None:
    assert export(small_file, tmp_path / "again") == manifest


def test_a_folder_with_something_in_it_is_left_alone(
    small_file: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "keep").write_text("mine")
    assert main(["export", str(small_file.parent), "--into", str(tmp_path)]) == 2
    assert "not empty; expected a new folder" in capsys.readouterr().err
    assert [p.name for p in tmp_path.iterdir()] == ["keep"]
    with pytest.raises(UsageError, match="does not exist; publish one first"):
        export(tmp_path / "fleet.duckdb", tmp_path / "new")
    assert [p.name for p in tmp_path.iterdir()] == ["keep"]


def test_a_folder_beside_it_is_left_alone(small_file: Path, tmp_path: Path) -> None:
    mine = tmp_path / "parquet.new" / "mine"
    mine.parent.mkdir()
    mine.touch()
    export(small_file, tmp_path / "parquet")
    assert mine.exists()
    assert sorted(p.name for p in tmp_path.iterdir()) == ["parquet", "parquet.new"]
