"""The report command beside other draws and runs, and what a run says that ends between publishing and drawing."""

from __future__ import annotations

import errno
import os
import shutil
from datetime import date
from pathlib import Path

import duckdb
import pytest

import pipeline.publish
import reports
from pipeline.cli import main
from pipeline.errors import StageError
from pipeline.simulate import make_fleet_command
from pipeline.warehouse import folder_lock
from reports import PAGES
from reports.worklists import NAMES

FIRST, NEXT = "2026-03-31", "2026-04-30"


@pytest.fixture
def into(published_file: Path, tmp_path: Path) -> Path:
    """A DIR with a publication and no pages."""
    shutil.copyfile(published_file, tmp_path / "fleet.duckdb")
    return tmp_path


def test_a_second_draw_is_told_and_leaves_the_first_alone(
    into: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    half = into / "reports.new" / "index.html"
    with folder_lock(into):
        half.parent.mkdir()
        half.touch()
        assert main(["report", str(into)]) == 2
        assert main(["report", str(into), "--pictures"]) == 2
        assert half.exists()
        assert main(["report", str(into), "--site", "S0000"]) == 0
    assert capsys.readouterr().err.count(f"{into} is in use by process {os.getpid()} on ") == 2
    assert main(["report", str(into)]) == 0
    assert {p.name for p in (into / "reports").iterdir()} == {*PAGES, *NAMES, "sites"}


def test_a_draw_without_a_publication_leaves_nothing(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["report", str(tmp_path / "none")]) == 2
    assert "publish one first" in capsys.readouterr().err
    assert list(tmp_path.iterdir()) == []


@pytest.fixture(scope="module")
def first_of_all(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A small fleet, published with its pages: its drop, and DIR."""
    folder = tmp_path_factory.mktemp("first")
    make_fleet_command(folder / "drop", 6, 60, 7)
    command = ["run", str(folder / "drop"), "--into", str(folder / "out"), "--direct", "--quiet", "--today"]
    assert main([*command, FIRST]) == 0
    return folder


@pytest.fixture
def first_run(first_of_all: Path, tmp_path: Path) -> tuple[list[str], Path]:
    """A copy of it: the command without its day, and where."""
    into = Path(shutil.copytree(first_of_all / "out", tmp_path / "out"))
    return ["run", str(first_of_all / "drop"), "--into", str(into), "--direct", "--quiet", "--today"], into


def reference_day(into: Path) -> str:
    with duckdb.connect(str(into / "fleet.duckdb"), read_only=True) as con:
        day: date = con.sql("SELECT today FROM publication").fetchall()[0][0]
    return day.isoformat()


FAULTS = [
    (OSError(errno.ENOSPC, os.strerror(errno.ENOSPC)), 2, "cannot be written: No space left on device; "),
    (duckdb.IOException("the file broke"), 2, "the file broke; "),
    (StageError("sql/reports/changes.sql broke"), 2, "\nsql/reports/changes.sql broke"),
    (KeyboardInterrupt(), 130, "stopped; "),
]


@pytest.mark.parametrize(("fault", "status", "words"), FAULTS, ids=lambda v: type(v).__name__)
def test_a_run_that_published_and_could_not_draw_says_so(
    fault: BaseException, status: int, words: str, first_run: tuple[list[str], Path],
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str],
) -> None:  # fmt: skip
    command, into = first_run
    pages = (into / "reports" / "index.html").read_bytes()

    def broken(*_: object) -> None:
        raise fault

    with monkeypatch.context() as patched:
        patched.setattr(reports, "draw", broken)
        assert main([*command, NEXT]) == status
    said = capsys.readouterr().err
    assert reference_day(into) == NEXT
    assert (into / "reports" / "index.html").read_bytes() == pages
    assert words in said
    assert "the last publication stands" not in said
    assert "published; the pages are still those of before; draw them with `fleet-static report " in said
    assert main(said.partition("`fleet-static ")[2].partition("`")[0].split()) == 0
    assert NEXT in (into / "reports" / "index.html").read_text(encoding="utf-8")


@pytest.mark.parametrize("fault", [FAULTS[0], FAULTS[1], FAULTS[3]], ids=lambda v: type(v[0]).__name__)
def test_a_run_that_could_not_publish_says_that_the_last_publication_stands(
    fault: tuple[BaseException, int, str], first_run: tuple[list[str], Path],
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str],
) -> None:  # fmt: skip
    command, into = first_run

    def broken(*_: object, **__: object) -> None:
        raise fault[0]

    monkeypatch.setattr(pipeline.publish, "publish", broken)
    assert main([*command, NEXT]) == fault[1]
    said = capsys.readouterr().err
    assert said.rstrip().endswith("the last publication stands")
    assert "published;" not in said
    assert reference_day(into) == FIRST
