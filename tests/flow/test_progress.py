"""What a person sees of a run: on a terminal, in a log, and when asked for quiet."""

from __future__ import annotations

import io
import re
import time

import pytest

from pipeline import progress
from pipeline.progress import Progress, run_directly
from pipeline.stages import RunOrder
from pipeline.warehouse import Warehouse


class Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


class Gone(io.StringIO):
    def write(self, _: str) -> int:
        raise BrokenPipeError


def test_a_log_gets_one_line_a_stage_and_no_control_characters() -> None:
    stream = io.StringIO()
    shown = Progress(stream)
    with shown.step("load"):
        shown.say("visits.csv: 3 rows")
    assert re.fullmatch(r"visits\.csv: 3 rows\n  load +\d+\.\d s\n", stream.getvalue())


def test_a_terminal_line_is_redrawn_while_the_stage_works(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(progress, "REDRAW_EVERY_S", 0.01)
    stream = Terminal()
    enough = time.monotonic() + 30  # on a machine that has no time for the thread that draws
    with Progress(stream).step("load"):
        while stream.getvalue().count("\r") < 5 and time.monotonic() < enough:
            time.sleep(0.01)
    drawn = stream.getvalue().split("\r\x1b[2K")[1:]
    assert len(drawn) > 3
    assert all(re.fullmatch(r"  load +\d+\.\d s \.\.\.", line) for line in drawn[:-1])
    assert re.fullmatch(r"  load +\d+\.\d s\n", drawn[-1])


def test_a_message_stands_above_the_line_of_the_stage_at_work() -> None:
    stream = Terminal()
    shown = Progress(stream)
    with shown.step("load"):
        shown.say("visits.csv: 3 rows")
    pieces = stream.getvalue().split("\r\x1b[2K")
    place = pieces.index("visits.csv: 3 rows\n")
    assert pieces[place + 1].startswith("  load ")
    assert not pieces[place + 1].endswith("\n")


def test_quiet_writes_nothing() -> None:
    stream = Terminal()
    shown = Progress(stream, quiet=True)
    with shown.step("load"):
        shown.say("visits.csv: 3 rows")
    assert stream.getvalue() == ""


def test_a_stage_that_raises_is_shown_as_stopped() -> None:
    stream = io.StringIO()
    with pytest.raises(KeyError), Progress(stream).step("gate"):
        raise KeyError("x")
    assert stream.getvalue().endswith("stopped\n")


def test_a_reader_that_has_gone_does_not_end_the_run() -> None:
    shown = Progress(Gone())
    with shown.step("load"):
        shown.say("visits.csv: 3 rows")


def test_watched_stages_run_directly_in_order(order: RunOrder) -> None:
    order.into.mkdir()
    stream = io.StringIO()

    def write(warehouse: Warehouse, _: RunOrder) -> None:
        warehouse.execute("CREATE TABLE a AS SELECT 1 AS n")

    def read(warehouse: Warehouse, _: RunOrder) -> None:
        assert warehouse.scalar("SELECT n FROM a") == 1

    run_directly(order, Progress(stream).watch([("load", write), ("check", read)]))
    assert [line.split()[0] for line in stream.getvalue().splitlines()] == ["load", "check"]
