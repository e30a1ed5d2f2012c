"""How a command ends: the exit status says whether the gate refused (1), it cannot be done (2), or it was stopped."""

from __future__ import annotations

import re
import shutil
import signal
from collections.abc import Callable, Iterator
from pathlib import Path

import duckdb
import pytest

from pipeline import cli
from pipeline.errors import GateError, StageError
from seed_data import DEMO_DROP

MAKE_FLEET = ["make-fleet", "anywhere", "--sites", "5", "--visits", "9", "--seed", "1"]


@pytest.fixture
def ends_with(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> Callable[[Callable[[], None]], tuple[int, str]]:
    """The exit status and the words of a command that does `work`."""

    def ended(work: Callable[[], None]) -> tuple[int, str]:
        monkeypatch.setattr(cli, "_make_fleet", lambda _: work())
        status = cli.main(MAKE_FLEET)
        return status, capsys.readouterr().err

    return ended


def raising(error: BaseException) -> Callable[[], None]:
    def work() -> None:
        raise error

    return work


Ended = Callable[[Callable[[], None]], tuple[int, str]]


@pytest.mark.parametrize(
    ("error", "status", "said"),
    [
        (GateError("sites: no usable row"), 1, "sites: no usable row"),
        (StageError("sql/a.sql broke"), 2, "sql/a.sql broke"),
        (FileNotFoundError(2, "No such file or directory", "a/b"), 2, "a/b: No such file or directory"),
        (OSError(12, "Cannot allocate memory"), 2, "Cannot allocate memory"),
        (duckdb.IOException("no lock"), 2, "a fault of the program: IOException: no lock (FLEET_STATIC_TRACEBACK=1"),
        (KeyError("x"), 2, "a fault of the program: KeyError: 'x' (FLEET_STATIC_TRACEBACK=1"),
        (RecursionError("one\ntwo"), 2, "a fault of the program: RecursionError: one (FLEET_STATIC_TRACEBACK=1"),
        (AssertionError(), 2, "a fault of the program: AssertionError:  (FLEET_STATIC_TRACEBACK=1"),
        (KeyboardInterrupt(), 130, "stopped; the last publication stands"),
        (KeyboardInterrupt("the new one stands"), 130, "stopped; the new one stands"),
        (RuntimeError("Query interrupted"), 130, "stopped; the last publication stands"),
        (ValueError("Error calling function `f`: KeyboardInterrupt: "), 130, "stopped; the last publication stands"),
    ],
)  # fmt: skip
def test_whatever_ends_a_command_is_one_line_and_a_status(
    ends_with: Ended, error: BaseException, status: int, said: str
) -> None:
    found, words = ends_with(raising(error))
    assert found == status
    assert words.startswith(f"fleet-static: {said}")
    assert words.count("\n") == 1


def test_only_the_gate_ends_with_1(ends_with: Ended) -> None:
    for error in (OSError("x"), duckdb.Error("x"), ValueError("x"), MemoryError(), KeyboardInterrupt()):
        assert ends_with(raising(error))[0] != 1


def test_an_interrupt_is_one_however_it_is_wrapped(ends_with: Ended) -> None:
    def wrapped() -> None:
        try:
            raise RuntimeError("Query interrupted")
        except RuntimeError as error:
            raise StageError("sql/a.sql broke") from error

    def met_while_rolling_back() -> None:
        try:
            raise KeyboardInterrupt
        finally:
            raise duckdb.TransactionException("no transaction is active")

    assert [ends_with(work)[0] for work in (wrapped, met_while_rolling_back)] == [130, 130]


@pytest.fixture
def ctrl_c_soon() -> Iterator[None]:
    """What Ctrl-C raises, half a second from now."""
    before = signal.signal(signal.SIGALRM, signal.default_int_handler)
    signal.setitimer(signal.ITIMER_REAL, 0.5)
    yield
    signal.setitimer(signal.ITIMER_REAL, 0)
    signal.signal(signal.SIGALRM, before)


def test_ctrl_c_while_the_database_works(ends_with: Ended, ctrl_c_soon: None) -> None:
    def work() -> None:
        with duckdb.connect() as con:
            con.execute("SELECT sum(n.range % 7) FROM range(3000000000) AS n")

    assert ends_with(work) == (130, "fleet-static: stopped; the last publication stands\n")


def test_the_traceback_of_a_fault_can_be_seen(ends_with: Ended, monkeypatch: pytest.MonkeyPatch) -> None:
    assert "Traceback" not in ends_with(raising(KeyError("x")))[1]
    monkeypatch.setenv("FLEET_STATIC_TRACEBACK", "1")
    status, words = ends_with(raising(KeyError("x")))
    assert status == 2
    assert "Traceback" in words
    assert "test_cli.py" in words


@pytest.mark.parametrize(
    "command",
    [
        ["run", str(DEMO_DROP), "--direct", "--into", "FILE/x"],
        ["make-fleet", "FILE/x", "--sites", "5", "--visits", "9", "--seed", "1"],
        ["export", "DIR", "--into", "FILE/x"],
        ["report", "DIR"],
    ],
)
def test_a_place_that_cannot_be_written_is_named(
    small_file: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], command: list[str]
) -> None:
    """A file stands where a folder is wanted."""
    into = tmp_path / "into"
    into.mkdir()
    shutil.copy(small_file, into / "fleet.duckdb")
    (into / "reports.new").touch()
    (tmp_path / "file").touch()
    words = {"DIR": str(into), "FILE/x": str(tmp_path / "file" / "x")}
    assert cli.main([words.get(word, word) for word in command]) == 2
    said = capsys.readouterr().err
    assert re.fullmatch(rf"fleet-static: {tmp_path}/\S+: (Not a directory|File exists)\n", said), said


@pytest.mark.parametrize(
    ("sites", "visits", "said"),
    [("5", "-5", "--visits -5: expected 0 or more"), ("0", "5", "--sites 0: expected at least one site")],
)
def test_make_fleet_names_the_number_that_cannot_be(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], sites: str, visits: str, said: str
) -> None:
    command = ["make-fleet", str(tmp_path / "a"), "--sites", sites, "--visits", visits, "--seed", "1"]
    assert cli.main(command) == 2
    assert capsys.readouterr().err == f"fleet-static: {said}\n"
    assert not (tmp_path / "a").exists()


def test_the_examples_are_asked_by_their_file(small_file: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """As the README says."""
    example = Path(__file__).resolve().parent.parent / "sql" / "examples" / "worst_ten.sql"
    into = str(small_file.parent)
    assert cli.main(["sql", into, str(example), "--format", "csv"]) == 0
    from_file = capsys.readouterr().out
    assert cli.main(["sql", into, example.read_text(), "--format", "csv"]) == 0
    assert from_file == capsys.readouterr().out != ""
    assert cli.main(["sql", into, "no_such.sql"]) == 2
    assert capsys.readouterr().err == "fleet-static: no_such.sql: No such file or directory\n"


def test_the_help_of_sql_says_what_its_arguments_are(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit, match="0"):
        cli.main(["sql", "--help"])
    said = " ".join(capsys.readouterr().out.split())
    assert "DIR where the publication is" in said
    assert "QUERY one SELECT, a file of it that ends in .sql, or a plain word" in said


def test_every_command_says_in_its_help_what_each_argument_is() -> None:
    parser = cli.build_parser()
    (commands,) = [action for action in parser._actions if action.choices]
    for name, command in dict(commands.choices or {}).items():
        assert [a.dest for a in command._actions if not a.help] == [], name


@pytest.mark.parametrize(
    ("option", "said"), [([], "open out/reports/index.html in a browser\n"), (["--quiet"], "")]
)
def test_a_quiet_demo_says_nothing(
    option: list[str], said: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """The run itself, whose words are its own, is left out."""
    monkeypatch.setattr(cli, "_run", lambda _: 0)
    assert cli.main(["demo", "--into", "out", *option]) == 0
    assert capsys.readouterr().out == said
