"""One question at a time; an error shows its place; an open door keeps the publication that it opened."""

from __future__ import annotations

import os
import shutil
from pathlib import Path

import duckdb
import pytest

from pipeline.cli import main
from pipeline.errors import UsageError
from pipeline.query import Door
from pipeline.warehouse import Warehouse, open_published


def _ask(door: Door, query: str) -> list[dict[str, object]]:
    return [row for part in door.ask(query).parts for row in part.to_pylist()]


@pytest.mark.parametrize(
    "query",
    [
        "SELECT 1 AS n",
        "SELECT 1 AS n;",
        "SELECT 1 AS n ; -- and a word",
        "-- first a word\nSELECT 1 AS n -- then another",
        "FROM (VALUES (1)) AS t(n)",
        "WITH a AS (SELECT 1 AS n) FROM a",
        "(SELECT 1 AS n)",
    ],
)
def test_a_question_is_answered(door: Door, query: str) -> None:
    assert _ask(door, query) == [{"n": 1}]


@pytest.mark.parametrize(
    "query",
    [
        "DESCRIBE site",
        "SUMMARIZE work",
        "SHOW TABLES",
        "EXPLAIN SELECT 1",
        "EXPLAIN ANALYZE SELECT count(*) FROM visit",
        "PIVOT site ON branch USING count(*) GROUP BY elevation_ft",
        "UNPIVOT (SELECT 1 AS a, 2 AS b) ON a, b",
    ],
)
def test_other_ways_of_asking(door: Door, query: str) -> None:
    assert _ask(door, query)


@pytest.mark.parametrize(
    ("query", "message", "place"),
    [
        (
            "SELECT site_id,\n  tespp FROM visit_static",
            'Candidate bindings: "tesp_inwc"',
            "LINE 2:   tespp FROM visit_static\n          ^^^^^",
        ),
        (
            "SELECT * FROM visit_statik",
            'Did you mean "visit_static"?',
            "LINE 1: SELECT * FROM visit_statik\n                      ^",
        ),
        ("SELEC 1", 'syntax error at or near "SELEC"', "LINE 1: SELEC 1\n        ^^^^^"),
        ("SELECT 1 +", "syntax error", "LINE 1: SELECT 1 +\n                 ^"),
        (
            "SELECT 1,\n site_id::INTEGER\nFROM site",
            "Could not convert string",
            "LINE 2:  site_id::INTEGER\n                ^^^^^^^^^",
        ),
        ("SELECT 1;\nSELECT 2", "2 statements; expected one question", "LINE 2: SELECT 2\n        ^"),
    ],
)
def test_an_error_shows_its_place(door: Door, query: str, message: str, place: str) -> None:
    with pytest.raises(UsageError) as error:
        _ask(door, query)
    assert message in str(error.value)
    assert place in str(error.value)


@pytest.mark.parametrize("query", ["", "  \n", ";", "-- only a word", "/* a word */"])
def test_nothing_asked(door: Door, query: str) -> None:
    with pytest.raises(UsageError, match="the query is empty"):
        door.ask(query)


def test_no_publication(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match=r"fleet\.duckdb does not exist; publish one first"):
        Door(tmp_path / "fleet.duckdb")
    (tmp_path / "fleet.duckdb").write_text("no database")
    with pytest.raises(UsageError, match="cannot be opened as a publication"):
        Door(tmp_path / "fleet.duckdb")


def test_a_publication_without_the_limits_takes_the_defaults(small_file: Path, tmp_path: Path) -> None:
    older = tmp_path / "fleet.duckdb"
    shutil.copy(small_file, older)
    with duckdb.connect(str(older)) as con:
        con.execute("DROP TABLE setting")
    with Door(older) as door:
        assert door.limits.time_s == 300


def test_doors_in_one_process_each_keep_their_publication(small_file: Path, tmp_path: Path) -> None:
    """A run, its pages and a reader may share a process: the file is replaced under an open door."""
    target = tmp_path / "fleet.duckdb"
    shutil.copy(small_file, target)
    with Door(target) as before, open_published(target) as second, Warehouse(tmp_path / "work.duckdb") as run:
        assert not before.is_replaced()
        new = tmp_path / "fleet.duckdb.new"
        shutil.copy(small_file, new)
        run.execute(f"ATTACH '{new}' AS published")
        run.execute("UPDATE published.publication SET version = 'next'")
        run.execute("DETACH published")
        os.replace(new, target)
        assert before.is_replaced()
        with Door(target) as after:
            assert _ask(after, "SELECT version FROM publication") == [{"version": "next"}]
        for con in (before.con, second):
            assert con.execute("SELECT version FROM publication").fetchall() != [("next",)]
            assert con.execute("SELECT count(*) FROM visit").fetchall() != [(0,)]


@pytest.mark.parametrize(
    "order",
    [
        ["DIR", "QUERY", "--format", "csv"],
        ["DIR", "--format", "csv", "QUERY"],
        ["--format", "csv", "DIR", "QUERY"],
    ],
)
def test_the_format_may_stand_anywhere(
    small_file: Path, capsys: pytest.CaptureFixture[str], order: list[str]
) -> None:
    words = {"DIR": str(small_file.parent), "QUERY": "-- how many?\nSELECT 1 AS a"}
    assert main(["sql", *(words.get(word, word) for word in order)]) == 0
    assert capsys.readouterr().out == "a\n1\n"


def test_an_unknown_argument_is_named(small_file: Path, capsys: pytest.CaptureFixture[str]) -> None:
    for arguments in (["SELECT 1", "SELECT 2"], ["--fromat"]):
        with pytest.raises(SystemExit, match="2"):
            main(["sql", str(small_file.parent), *arguments])
        assert f"unrecognized arguments: {arguments[-1]}" in capsys.readouterr().err
