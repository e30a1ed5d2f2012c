"""What an answer looks like, byte for byte, in each format; nothing but the answer goes to a pipe."""

from __future__ import annotations

import io
import json
import os
import pty
import subprocess
import sys
from pathlib import Path

import polars as pl
import pytest

from pipeline.errors import UsageError
from pipeline.query import Door, answer
from pipeline.query.formats import write_rows
from pipeline.warehouse import TABLES

ROOT = Path(__file__).resolve().parents[2]
KINDS = """
    SELECT 'a' AS word, 12 AS n, 0.1 + 0.2::DOUBLE AS x, 1234567.891::DOUBLE AS big, NULL AS nothing, true AS flag,
        DATE '2026-03-01' AS day, TIMESTAMPTZ '2026-03-01 10:00:00-05' AS at, TIMESTAMP '2026-03-01 10:00' AS local,
        1.50::DECIMAL(5, 2) AS cost, [1, 2] AS list, {'a': 'b'} AS pair, INTERVAL 3 DAY AS span
    UNION ALL
    SELECT 'say "hi", ok', -3, 'nan'::DOUBLE, 'inf'::DOUBLE, NULL, false, NULL, NULL, NULL, NULL, NULL, NULL, NULL
"""


def _written(door: Door, query: str, format_: str) -> str:
    out = io.StringIO()
    write_rows(door.ask(query), format_, out)
    return out.getvalue()


def test_table(door: Door) -> None:
    assert _written(door, KINDS.replace("INTERVAL 3 DAY", "'3 days'"), "table").splitlines() == [
        "word           n    x      big  nothing  flag   day         at                    local                cost  "
        "list    pair      span",
        "------------  --  ---  -------  -------  -----  ----------  --------------------  -------------------  ----  "
        "------  --------  ------",
        "a             12  0.3  1234568           true   2026-03-01  2026-03-01T15:00:00Z  2026-03-01T10:00:00  1.50  "
        "[1, 2]  {'a': b}  3 days",
        'say "hi", ok  -3  nan      inf           false',
    ]


def test_csv(door: Door) -> None:
    assert _written(door, KINDS, "csv") == (
        "word,n,x,big,nothing,flag,day,at,local,cost,list,pair,span\n"
        "a,12,0.30000000000000004,1234567.891,,true,2026-03-01,2026-03-01T15:00:00Z,2026-03-01T10:00:00,1.50,"
        "\"[1, 2]\",{'a': b},3 days\n"
        '"say ""hi"", ok",-3,nan,inf,,false,,,,,,,\n'
    )


def test_csv_tells_an_empty_text_from_null(door: Door) -> None:
    assert _written(door, "SELECT '' AS a, NULL AS b, 'x,y' AS \"c,d\"", "csv") == 'a,b,"c,d"\n"",,"x,y"\n'


def test_json(door: Door) -> None:
    rows = json.loads(_written(door, KINDS, "json"))
    assert rows[0] == {
        "word": "a", "n": 12, "x": 0.30000000000000004, "big": 1234567.891, "nothing": None, "flag": True,
        "day": "2026-03-01", "at": "2026-03-01T15:00:00Z", "local": "2026-03-01T10:00:00", "cost": 1.5,
        "list": [1, 2], "pair": {"a": "b"}, "span": "3 days",
    }  # fmt: skip
    assert (rows[1]["word"], rows[1]["x"], rows[1]["big"]) == ('say "hi", ok', None, None)


def test_parquet(door: Door) -> None:
    out = io.TextIOWrapper(io.BytesIO())
    write_rows(door.ask(KINDS), "parquet", out)
    rows = pl.read_parquet(out.buffer.getvalue())  # type: ignore[attr-defined]
    assert rows.columns[:4] == ["word", "n", "x", "big"]
    assert rows.row(0)[:4] == ("a", 12, 0.30000000000000004, 1234567.891)
    assert rows.schema["at"] == pl.Datetime("us", "UTC")
    assert rows["span"].to_list() == ["3 days", None]


def test_parquet_is_not_written_where_bytes_do_no_good(door: Door) -> None:
    with pytest.raises(UsageError, match="to a file or a pipe"):
        write_rows(door.ask("SELECT 1"), "parquet", io.StringIO())


@pytest.mark.parametrize(
    ("format_", "expected"), [("table", "a  b\n-  -\n"), ("csv", "a,b\n"), ("json", "[]\n")]
)
def test_no_rows(door: Door, format_: str, expected: str) -> None:
    assert _written(door, "SELECT 1 AS a, 2 AS b WHERE false", format_) == expected


def test_two_columns_of_one_name(door: Door) -> None:
    assert _written(door, "SELECT 1 AS n, 2 AS n", "csv") == "n,n\n1,2\n"
    assert json.loads(_written(door, "SELECT 1 AS n, 2 AS n", "json")) == [{"n": 1, "n_2": 2}]


def test_many_parts_stay_in_order(door: Door) -> None:
    text = _written(door, "SELECT range AS r FROM range(100000) ORDER BY r DESC", "csv")
    assert text == "r\n" + "".join(f"{i}\n" for i in range(99999, -1, -1))
    numbers = json.loads(_written(door, "SELECT range AS r FROM range(45000)", "json"))
    assert [row["r"] for row in numbers] == list(range(45000))


def test_what_would_steer_a_terminal_is_written_out(door: Door) -> None:
    text = _written(
        door, "SELECT 'a' || chr(27) || '[31m' || chr(10) || 'b' AS x, '幅' AS y, 1 AS z", "table"
    )
    assert text.splitlines()[2] == "a\\x1b[31m\\nb  幅  1"


def test_every_published_table_is_written(door: Door) -> None:
    for (table,) in door.rows(f"SELECT table_name FROM ({TABLES})"):
        query = f'SELECT * FROM "{table}" LIMIT 50'
        rows = json.loads(_written(door, query, "json"))
        read = pl.read_csv(io.StringIO(_written(door, query, "csv")), infer_schema=False)
        assert read.height == len(rows)
        assert rows == [] or read.columns == list(rows[0])


def _command(published: Path, *arguments: str) -> list[str]:
    return [sys.executable, "-m", "pipeline.cli", "sql", str(published.parent), *arguments]


def test_a_pipe_gets_the_answer_alone(small_file: Path) -> None:
    done = subprocess.run(
        _command(small_file, "SELECT 1 AS a", "--format", "csv"), cwd=ROOT, capture_output=True, check=False
    )
    assert (done.returncode, done.stdout, done.stderr) == (0, b"a\n1\n", b"")


def test_a_reader_that_leaves_early_is_no_error(small_file: Path) -> None:
    command = subprocess.Popen(
        _command(small_file, "SELECT * FROM range(3000000)"),
        cwd=ROOT,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
    )
    assert command.stdout is not None
    assert command.stderr is not None
    assert command.stdout.readline() == b"range\n"
    command.stdout.close()
    assert command.stderr.read() == b""
    assert command.wait() == 0


def test_a_terminal_gets_what_fits_and_is_told_of_the_rest(
    small_file: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", "80")
    ours, theirs = pty.openpty()
    with open(theirs, "w", encoding="utf-8") as out:
        answer(small_file, "SELECT * FROM site_static LIMIT 3", "table", out)
        with pytest.raises(UsageError, match="to a file or a pipe"):
            answer(small_file, "SELECT 1", "parquet", out)
    lines = os.read(ours, 65536).decode().splitlines()
    os.close(ours)
    assert lines[0].startswith("site_id  branch")
    assert all(len(line) <= 80 for line in lines[:5])
    assert lines[5].startswith("(3 rows; not shown for want of room: ")
    assert "in_service (--format csv has all)" in lines[5]


def test_a_terminal_gets_the_first_rows(small_file: Path) -> None:
    ours, theirs = pty.openpty()
    with open(theirs, "w", encoding="utf-8") as out:
        answer(small_file, "SELECT range AS r FROM range(501)", "table", out)
    said = os.read(ours, 65536).decode().splitlines()
    os.close(ours)
    assert said[-2:] == ["499", "(the first 500 rows)"]
