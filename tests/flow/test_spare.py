"""The spare publication: written over only where nobody can see it, and then what is published is the same."""

from __future__ import annotations

import mmap
import os
import random
import shutil
import subprocess
import sys
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import duckdb
import pytest

from pipeline import publish as publishing
from pipeline.spare import PIECE, is_unseen, keep_as_spare, make_copy, spare_of, write_differences
from pipeline.stages import RunOrder
from pipeline.warehouse import Warehouse
from tests.conftest import FIELD_TODAY
from tests.faults.conftest import content, difference

linux_only = pytest.mark.skipif(sys.platform != "linux", reason="elsewhere no spare is written over")


@pytest.mark.parametrize("longer", [-2 * PIECE - 5, -1, 0, 1, PIECE, 3 * PIECE + 7])
def test_the_target_holds_what_the_source_holds(tmp_path: Path, longer: int) -> None:
    rng = random.Random(longer)
    source, target = tmp_path / "source", tmp_path / "target"
    wanted = bytearray(rng.randbytes(5 * PIECE + 11))
    source.write_bytes(wanted)
    for place in (0, 2 * PIECE + 1, 5 * PIECE + 10):
        wanted[place] ^= 1
    target.write_bytes((wanted + rng.randbytes(max(0, longer)))[: len(wanted) + longer])
    write_differences(source, target)
    assert target.read_bytes() == source.read_bytes()


@pytest.mark.parametrize("size", [0, 1, PIECE])
def test_small_files(tmp_path: Path, size: int) -> None:
    source, target = tmp_path / "source", tmp_path / "target"
    source.write_bytes(b"a" * size)
    target.write_bytes(b"b" * 100)
    write_differences(source, target)
    assert target.read_bytes() == source.read_bytes()


def test_only_what_differs_is_written(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    source, target = tmp_path / "source", tmp_path / "target"
    source.write_bytes(b"a" * (6 * PIECE))
    held = bytearray(source.read_bytes())
    held[PIECE] ^= 1
    held[5 * PIECE - 1] ^= 1
    target.write_bytes(held)
    places = []
    write = os.pwrite

    def noted(descriptor: int, piece: memoryview, place: int) -> int:
        places.append(place)
        return write(descriptor, piece[:1000], place)  # a write may do less than it was asked to

    monkeypatch.setattr(os, "pwrite", noted)
    write_differences(source, target)
    assert {place // PIECE for place in places} == {1, 4}
    assert target.read_bytes() == source.read_bytes()


@linux_only
def test_who_has_a_file_open_is_noticed(tmp_path: Path) -> None:
    file = tmp_path / "file"
    assert not is_unseen(file)
    file.write_bytes(b"rows")
    assert is_unseen(file)
    assert is_unseen(file), "the lease was not given back"
    with file.open("rb") as opened:
        assert not is_unseen(file)
        mapped = mmap.mmap(opened.fileno(), 4, prot=mmap.PROT_READ)
    assert not is_unseen(file)
    mapped.close()
    assert is_unseen(file)


@linux_only
def test_a_reader_in_another_process_is_noticed(tmp_path: Path) -> None:
    file = tmp_path / "file"
    file.write_bytes(b"rows")
    reads = f"import sys; opened = open({str(file)!r}); print('open', flush=True); sys.stdin.read()"
    with subprocess.Popen(
        [sys.executable, "-c", reads], stdin=subprocess.PIPE, stdout=subprocess.PIPE
    ) as reader:
        assert reader.stdout is not None
        assert reader.stdin is not None
        reader.stdout.readline()
        assert not is_unseen(file)
        reader.stdin.close()
        reader.wait(20)
    assert is_unseen(file)


@linux_only
def test_a_file_with_another_name_is_left_alone(tmp_path: Path) -> None:
    """A backup of hard links, or a run that died between the two renames."""
    file, other = tmp_path / "file", tmp_path / "other"
    file.write_bytes(b"rows")
    os.link(file, other)
    assert not is_unseen(file)
    make_copy(shutil.copyfile(file, tmp_path / "source"), tmp_path / "new", file)
    assert other.read_bytes() == b"rows"
    assert not file.exists()


def test_no_spare_where_the_disk_is_short(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    published = tmp_path / "fleet.duckdb"
    published.write_bytes(b"rows")
    keep_as_spare(published)
    assert spare_of(published).samefile(published)
    usage = shutil.disk_usage(tmp_path)
    monkeypatch.setattr(shutil, "disk_usage", lambda _: usage._replace(free=3))
    keep_as_spare(published)
    assert not spare_of(published).exists()


Publish = Callable[..., Path]


@pytest.fixture
def publish(small_file: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Publish:
    """Publish the small fleet's work file once more into the same folder, without the site `but`."""
    order = RunOrder((), tmp_path / "into", FIELD_TODAY)
    order.into.mkdir()
    shutil.copyfile(small_file.with_name("work.duckdb"), order.work_file)
    monkeypatch.setattr(publishing, "SMALL", 0)

    def published(but: str = "", *, pseudonyms: bool = False) -> Path:
        with Warehouse(order.work_file) as warehouse:
            warehouse.set_variable("today", FIELD_TODAY, "DATE")
            warehouse.execute("DELETE FROM staging.sites WHERE site_id = ?", [but])
            publishing.publish(warehouse, replace(order, pseudonyms=pseudonyms))
        return order.published_file

    return published


def _sites(con: duckdb.DuckDBPyConnection) -> int:
    return int(con.sql("SELECT count(*) FROM fleet.site").fetchall()[0][0])


def _some_sites(file: Path, n: int) -> list[str]:
    with duckdb.connect(str(file), read_only=True) as con:
        return [s for (s,) in con.sql(f"SELECT site_id FROM site ORDER BY site_id LIMIT {n}").fetchall()]


@linux_only
def test_the_third_publication_is_made_out_of_the_first(
    publish: Publish, monkeypatch: pytest.MonkeyPatch
) -> None:
    file = publish()
    assert not spare_of(file).exists()
    one, other = _some_sites(file, 2)
    first = file.stat().st_ino
    second = publish(one).stat().st_ino
    assert spare_of(file).stat().st_ino == first
    third = content(publish(other))
    assert file.stat().st_ino == first
    assert spare_of(file).stat().st_ino == second
    assert {p.name for p in file.parent.iterdir()} == {"work.duckdb", "fleet.duckdb", spare_of(file).name}
    monkeypatch.setattr(publishing, "SMALL", 10**12)
    assert difference(third, content(publish())) == ""
    assert len(third["site"]) > 2


@linux_only
@pytest.mark.parametrize("holds", ["DuckDB", "a file"])
def test_readers_keep_what_they_opened(publish: Publish, holds: str) -> None:
    file = publish()
    one, other = _some_sites(file, 2)
    bytes_before = file.read_bytes()
    with duckdb.connect() as con, file.open("rb") as opened:
        if holds == "DuckDB":
            opened.close()
            con.execute(f"ATTACH '{file}' AS fleet (READ_ONLY)")
            sites = _sites(con)
        first = file.stat().st_ino
        publish(one)
        publish(other)
        assert file.stat().st_ino != first
        if holds == "DuckDB":
            assert _sites(con) == sites
        else:
            assert opened.read() == bytes_before


@linux_only
def test_a_spare_that_is_no_database_is_written_over(publish: Publish) -> None:
    file = publish()
    spare_of(file).write_bytes(b"nonsense" * 1000)
    place = spare_of(file).stat().st_ino
    before = content(file)
    assert difference(before, content(publish())) == ""
    assert file.stat().st_ino == place


def test_with_pseudonyms_no_spare_keeps_the_names(publish: Publish) -> None:
    file = publish()
    publish()
    assert spare_of(file).exists()
    publish(pseudonyms=True)
    assert not spare_of(file).exists()
