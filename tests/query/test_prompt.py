"""The prompt: plain words, questions over several lines, history in DIR, completion; a pipe instead of a terminal."""

from __future__ import annotations

import fcntl
import io
import os
import pty
import select
import shutil
import subprocess
import sys
import termios
import time
from pathlib import Path

import pytest

from pipeline.errors import UsageError
from pipeline.query import Door, answer
from pipeline.query.prompt import Completer, Prompt, is_command
from pipeline.query.words import examples, notes, respond

ROOT = Path(__file__).resolve().parents[2]


def _through_pipe(published: Path, lines: str, format_: str = "csv") -> tuple[int, str]:
    out = io.StringIO()
    status = Prompt(published, format_, io.StringIO(lines), out).run()
    return status, out.getvalue()


def test_questions_through_a_pipe(small_file: Path) -> None:
    asked = (
        "SELECT count(*) AS n\n-- of the sites;\nFROM site;\n\n"
        "SELECT 2 AS two;\nSELECT 'a;b' AS x;\nSELECT 3 AS last"
    )
    assert _through_pipe(small_file, asked) == (0, "n\n60\ntwo\n2\nx\na;b\nlast\n3\n")


def test_an_error_does_not_end_it(small_file: Path, capsys: pytest.CaptureFixture[str]) -> None:
    status, out = _through_pipe(small_file, "SELECT foo;\nSELECT 1 AS a;\nquit\nSELECT 2 AS b;\n")
    assert (status, out) == (2, "a\n1\n")
    assert "LINE 1: SELECT foo;" in capsys.readouterr().err


def _said(door: Door, words: str) -> str:
    out = io.StringIO()
    respond(door, words, "csv", out, show_sql=True)
    return out.getvalue()


def test_plain_words(door: Door) -> None:
    assert "\nsite_priority\n    Which first:" in _said(door, "tables")
    assert "tesp_inwc DOUBLE\n    total external static pressure" in _said(door, "columns visit_static")
    assert _said(door, "columns VISIT_STATIC;") == _said(door, "Columns visit_static")
    assert "\ntheil_sen_slope(xs, ys)\n" in _said(door, "macros")
    assert "\n_" not in _said(door, "macros")
    assert "columns NAME" in _said(door, "help")
    for example in examples():
        assert f"{example.name}\n    " in _said(door, "examples")


@pytest.mark.parametrize(
    ("words", "message"),
    [
        ("columns", "of which table"),
        ("columns visit_statik", "no table 'visit_statik'; did you mean visit_static"),
        ("example", "which example"),
        ("column site_static", "no command 'column'; did you mean columns[?]"),
        ("exampels;", "no command 'exampels'; did you mean examples[?]"),
        ("table no_such_table", "Table with name no_such_table does not exist"),
        ("selekt 1", "^Parser Error"),
        ("example no_such_thing_at_all", "no example called 'no_such_thing_at_all'"),
    ],
)
def test_a_word_too_few_or_wrong(door: Door, words: str, message: str) -> None:
    with pytest.raises(UsageError, match=message):
        _said(door, words)


@pytest.mark.parametrize("line", ["tables", "TABLES;", "columns site", "help", "?", "example x ;", "quit"])
def test_a_plain_word(line: str) -> None:
    assert is_command(line)


@pytest.mark.parametrize("line", ["SELECT 1", "FROM site", "tables and more", "", "table site"])
def test_no_plain_word(line: str) -> None:
    assert not is_command(line)


def test_completion(door: Door) -> None:
    completer = Completer(door)
    assert completer.matches("site_st", "SELECT * FROM ") == ["site_static"]
    assert completer.matches("expected_excess_i", "SELECT ") == ["expected_excess_inwc"]
    assert completer.matches("s.level_h", "SELECT ") == ["s.level_hi_inwc"]
    assert completer.matches("theil_sen_s", "SELECT ") == ["theil_sen_slope"]
    assert completer.matches("ord", "SELECT 1 ") == ["order by"]
    assert completer.matches("ORD", "SELECT 1 ") == ["ORDER BY"]
    assert "columns" in completer.matches("col", "")
    assert "columns" not in completer.matches("col", "SELECT ")
    assert set(completer.matches("", "columns ")) == set(completer.tables)
    assert completer.matches("zzz", "") == []


class Terminal:
    """A person at a terminal: types, and waits until something is shown."""

    def __init__(self, published: Path, home: Path) -> None:
        self.ours, theirs = pty.openpty()
        self.process = subprocess.Popen(
            [sys.executable, "-m", "pipeline.cli", "sql", str(published.parent)],
            cwd=ROOT, stdin=theirs, stdout=theirs, stderr=theirs, start_new_session=True,
            preexec_fn=lambda: fcntl.ioctl(0, termios.TIOCSCTTY, 0),  # so that Ctrl-C reaches it
            env={**os.environ, "HOME": str(home), "TERM": "dumb", "COLUMNS": "100"},
        )  # fmt: skip
        os.close(theirs)
        self.shown = ""

    def wait_for(self, text: str, seconds: float = 60) -> None:
        """Read until `text` has been shown since the last wait."""
        end = time.monotonic() + seconds
        while text not in self.shown:
            ready, _, _ = select.select([self.ours], [], [], max(end - time.monotonic(), 0))
            assert ready, f"{text!r} did not come; shown: {self.shown!r}"
            self.shown += os.read(self.ours, 65536).decode()
        self.shown = self.shown.split(text, 1)[1]

    def type(self, keys: str) -> None:
        os.write(self.ours, keys.encode())

    def leave(self) -> int:
        status = self.process.wait(30)
        os.close(self.ours)
        return status


def test_at_a_terminal(small_file: Path, tmp_path: Path) -> None:
    published = tmp_path / "dir" / "fleet.duckdb"
    published.parent.mkdir()
    shutil.copy(small_file, published)
    home = tmp_path / "home"
    home.mkdir()
    at = Terminal(published, home)
    at.wait_for("fleet> ")
    at.type("SELECT count(*) AS n\n")
    at.wait_for("...> ")
    at.type("FROM site_pr\t;\n")  # Tab completes the table's name
    at.wait_for("site_priority;")
    at.wait_for("(1 row)")
    at.type("SELECT tespp FROM visit_static;\n")
    at.wait_for("^^^^^")
    at.wait_for("fleet> ")
    at.type("SELECT count(*) FROM visit a, visit b, visit c, visit d;\n")
    time.sleep(1)
    at.type("\x03")  # Ctrl-C stops the query, not the prompt
    at.wait_for("fleet> ")
    shutil.copy(published, published.with_name("next"))
    os.replace(published.with_name("next"), published)
    at.type("SELECT 7 AS seven;\n")
    at.wait_for("a run has published since")
    at.type("reopen\n")
    at.wait_for("reading the publication of 20")
    at.type("quit\n")
    assert at.leave() == 0
    history = (published.parent / ".sql_history").read_text(encoding="utf-8")
    assert "SELECT 7 AS seven;" in history
    assert list(home.iterdir()) == []


@pytest.mark.parametrize(
    ("question", "noted"),
    [
        ("SELECT * FROM visit WHERE mode = 'Cooling'", ["'Cooling'; it is written 'cooling'"]),
        (
            "SELECT * FROM equipment WHERE equipment_kind IN ('furnace', 'Fan coil')",
            ["'Fan coil'; it is written 'fan_coil'"],
        ),
        ("FROM site_static WHERE problem_side<>'airflow setting'", ["it is written 'airflow_setting'"]),
        ("FROM visit WHERE mode = 'cooling' AND technician_id = 'T03'", []),
        ("FROM site WHERE site_label = 'Old Dairy' OR branch IN ('North', 'South')", []),
        ("SELECT 'Cooling' AS heading, lower(mode) LIKE 'Cool%' FROM visit", []),
    ],
)
def test_a_word_that_no_column_holds_is_noted(question: str, noted: list[str]) -> None:
    found = notes(question)
    assert len(found) == len(noted)
    assert all(wanted in note for wanted, note in zip(noted, found, strict=True))


def test_a_note_stands_beside_the_answer(small_file: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert (
        answer(small_file, "SELECT count(*) AS n FROM visit WHERE mode = 'Cooling'", "csv", sys.stdout) == 0
    )
    told = capsys.readouterr()
    assert told.out == "n\n0\n"
    assert told.err == "note: no column holds the word 'Cooling'; it is written 'cooling'\n"
