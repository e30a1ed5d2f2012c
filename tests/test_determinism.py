"""Same drops in any order or split: the same published tables (keys, states and ranks equal, numbers within 1e-9)."""

from __future__ import annotations

import shutil
from pathlib import Path

import polars as pl
import pytest
from polars.testing import assert_frame_equal

from tests.conftest import WHOLE_DROP, WHOLE_TODAY, asking, run_stages

# What tells when or in which file order something happened, not what was found.
CLOCKS = {"loaded_at", "published_at", "seconds"}
HISTORY = {"check_run", "gate_result", "load_ledger", "publication", "site_change"}


def published_tables(file: Path) -> dict[str, pl.DataFrame]:
    with asking(file) as ask:
        names = ask("SELECT table_name FROM dictionary GROUP BY 1 ORDER BY 1")["table_name"]
        return {name: _in_order(ask(f'SELECT * FROM "{name}"')) for name in names}


def _in_order(frame: pl.DataFrame) -> pl.DataFrame:
    frame = frame.drop(c for c in frame.columns if c in CLOCKS)
    keys = [
        c
        for c in frame.columns
        if frame[c].dtype in (pl.String, pl.Date, pl.Boolean) or frame[c].dtype.is_integer()
    ]
    return frame.sort(keys or frame.columns, nulls_last=True)


def assert_same(left: Path, right: Path) -> None:
    a, b = _without_history(published_tables(left)), _without_history(published_tables(right))
    assert a.keys() == b.keys()
    for name in a:
        assert_frame_equal(a[name], b[name], abs_tol=1e-9, rel_tol=1e-9, check_row_order=True)


def _without_history(tables: dict[str, pl.DataFrame]) -> dict[str, pl.DataFrame]:
    """Runs without gate or contracts tell nothing of them, neither in tables nor in the dictionary."""
    told = tables["dictionary"].filter(~pl.col("table_name").is_in(HISTORY))
    return {name: frame for name, frame in tables.items() if name not in HISTORY} | {"dictionary": told}


@pytest.fixture(scope="module")
def at_once(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return run_stages([WHOLE_DROP], tmp_path_factory.mktemp("once"), WHOLE_TODAY, without=("report",))


def test_files_in_several_runs_and_other_order(at_once: Path, tmp_path: Path) -> None:
    """Key tables first (the gate wants them), then the visits' files backwards, one run each."""
    visits = sorted(WHOLE_DROP.glob("visits*"), reverse=True)
    rest = [p for p in WHOLE_DROP.iterdir() if p not in visits]
    last = at_once
    for number, files in enumerate([rest, *[[v] for v in visits]]):
        drop = tmp_path / f"drop{number}"
        drop.mkdir()
        for file in files:
            shutil.copy(file, drop)
        last = run_stages([drop], tmp_path / "into", WHOLE_TODAY, without=("report",))
    assert_same(at_once, last)


def test_the_same_drop_again_changes_nothing(at_once: Path) -> None:
    before = published_tables(at_once)
    again = run_stages([WHOLE_DROP], at_once.parent, WHOLE_TODAY, without=("report",))
    after = published_tables(again)
    for name in before.keys() - {"publication"}:
        assert_frame_equal(before[name], after[name], abs_tol=1e-9)
