"""Files that no sane export would write: no traceback, nothing lost, and the same answer as one row at a time.

200 files by default; FLEET_STATIC_NIGHTLY=1 makes it 2,000.
"""

from __future__ import annotations

import tempfile
import unicodedata
from pathlib import Path

import polars as pl
import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from pipeline.load.escape import shown
from pipeline.load.records import find_records
from pipeline.warehouse import Warehouse
from tests.conftest import NIGHTLY
from tests.load.drops import SOUND, Kept, Store, write_drop
from tests.load.hostile import hostile_file

REASONS = {"missing_key", "bad_number", "bad_date", "bad_value", "row_malformed"}
OBEYED = set(
    "\u00ad\u200b\u200e\u200f\u2028\u2029\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069\ufeff"
)
FILES_A_LOAD = 8


def _examples(n: int) -> settings:
    return settings(
        max_examples=10 * n if NIGHTLY else n,
        deadline=None,
        derandomize=not NIGHTLY,
        database=None,
        phases=[Phase.explicit, Phase.generate],  # a failing file is small enough as it is
        suppress_health_check=list(HealthCheck),
    )


@pytest.fixture(scope="module")
def store(tmp_path_factory: pytest.TempPathFactory) -> Store:
    """A folder with the sound drop in it; hostile files come and are withdrawn again."""
    made = Store(tmp_path_factory.mktemp("into"), kept=Kept())
    others = {k: v for k, v in SOUND.items() if k != "visits.csv"}
    made.run(write_drop(tmp_path_factory.mktemp("sound"), others))
    return made


@pytest.mark.slow
@_examples(200 // FILES_A_LOAD)
@given(st.lists(hostile_file(), min_size=FILES_A_LOAD, max_size=FILES_A_LOAD))
def test_nothing_is_lost_whatever_stands_in_a_file(store: Store, contents: list[bytes]) -> None:
    files = {f"visits_{i}.csv": content for i, content in enumerate(contents)}
    with tempfile.TemporaryDirectory() as folder:
        store.run(write_drop(Path(folder), dict(files)), passes=False)
    counts = "file, rows_read, rows_loaded, rows_rejected, rows_repeated, rows_superseded"
    ledger = store.rows(f"SELECT {counts} FROM load_ledger WHERE table_name = 'visits'")
    assert {r[0] for r in ledger} == set(files)
    rejected = store.rows("SELECT file, line_number, raw_line, reason FROM rejected_row")
    superseded = store.rows("SELECT file, line_number, raw_line FROM superseded_row")
    assert {r[3] for r in rejected} <= REASONS
    for name, n_read, n_loaded, n_rejected, n_repeated, n_superseded in ledger:
        assert n_read == n_loaded + n_rejected + n_repeated
        rejects = [r[1:3] for r in rejected if r[0] == name]
        replaced = [r[1:3] for r in superseded if r[0] == name]
        assert (len(rejects), len(replaced)) == (n_rejected, n_superseded)
        _lines_hold_what_is_said(files[name], rejects + replaced)
    for message in store.said:
        assert not any(unicodedata.category(c) == "Cc" or c in OBEYED for c in message), message


def _lines_hold_what_is_said(content: bytes, rows: list[tuple[int, str]]) -> None:
    """Every reported row stands where it is said to stand."""
    text = content.decode().removeprefix("\ufeff").replace("\r\n", "\n").replace("\r", "\n")
    lines = text.split("\n")
    for number, raw in rows:
        first = raw.replace("\r\n", "\n").replace("\r", "\n").split("\n")[0]
        assert lines[number - 1] == first, (number, raw)


def test_sql_and_python_show_a_value_alike() -> None:
    """Every character that a terminal may obey or hide, and all below the hieroglyphs; what is cut, what is quoted."""
    every = (chr(code) for code in range(1, 0x13000) if not 0xD800 <= code <= 0xDFFF)
    far = (chr(code) for code in range(0x13000, 0x110000) if unicodedata.category(chr(code)) == "Cf")
    texts = [f"x{c}y" for c in (*every, *far)]
    texts += ["a" * 40, "a" * 41, "it's 'q'", "\\n", "\U0001f468\u200d\U0001f469" * 14, "e\u0301" * 25]
    with Warehouse() as warehouse:
        warehouse.run("load/shown.sql")
        warehouse.store("value", pl.DataFrame({"text": texts}))
        said = dict(warehouse.con.sql("SELECT text, shown(text) FROM value").fetchall())
    assert [(text, said[text]) for text in texts if said[text] != shown(text)] == []


@pytest.mark.slow
@_examples(200)
@given(hostile_file(), st.sampled_from([",", ";", "\t"]))
def test_every_line_belongs_to_one_record(content: bytes, separator: str) -> None:
    """Records, malformed records and blank lines cover the file: none overlaps, none is left out."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "a.csv"
        path.write_bytes(content)
        records = find_records(path, separator, 9)
        spans = [(int(a), int(b)) for a, b in zip(records.starts, records.ends, strict=True)]
        spans += [(m.start, m.end) for m in records.malformed]
        data = records.data.tobytes()
        at = 0
        for start, end in sorted(spans):
            assert start >= at
            assert data[at:start].strip(b"\r\n") == b""
            at = end
        assert data[at:].strip(b"\r\n") == b""
