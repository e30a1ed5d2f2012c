"""The same published tables, whether the fleet is worked on whole or in parts (keys, states and ranks equal)."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import polars as pl
import pytest
from polars.testing import assert_frame_equal

from pipeline.errors import UsageError
from pipeline.progress import run_directly
from pipeline.scale.cluster import spread_stages
from pipeline.scale.load import read_file
from pipeline.scale.pool import Here
from pipeline.scale.shared import Shared
from pipeline.simulate import make_fleet_command
from pipeline.stages import RunOrder
from tests.conftest import WHOLE_DROP, WHOLE_TODAY, query_of, run_stages
from tests.test_determinism import assert_same

TODAY = date(2026, 11, 1)


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return run_stages([WHOLE_DROP], tmp_path_factory.mktemp("whole"), WHOLE_TODAY, without=("report",))


def run_in_parts(drop: Path, into: Path, today: date, parts: int) -> Path:
    into.mkdir(exist_ok=True)
    order = RunOrder((drop,), into, today)
    with spread_stages(Here(workers=parts), Shared(str(into / "parts"))) as stages:
        run_directly(order, [(name, stage) for name, stage in stages if name != "report"])
    return order.published_file


def test_parts_make_the_same_tables(whole: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Every file, however small, is read by the pool; rejected rows keep their lines and words."""
    monkeypatch.setattr("pipeline.scale.load.WORTH_SENDING", 0)
    read = []
    monkeypatch.setattr(
        "pipeline.scale.load.read_file", lambda order: read.append(read_file(order)) or read[-1]
    )
    in_parts = run_in_parts(WHOLE_DROP, tmp_path / "into", WHOLE_TODAY, parts=3)
    assert_same(whole, in_parts)
    assert_frame_equal(ledger_of(whole), ledger_of(in_parts))
    assert len([done for done in read if done is not None]) == len(list(WHOLE_DROP.iterdir()))
    assert not (tmp_path / "into" / "parts").exists()


def ledger_of(published: Path) -> pl.DataFrame:
    return query_of(published)("SELECT * EXCLUDE (loaded_at) FROM load_ledger ORDER BY file")


def test_files_that_the_pool_cannot_read(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The run reads them itself and says what is wrong with them."""
    monkeypatch.setattr("pipeline.scale.load.WORTH_SENDING", 0)
    drop = tmp_path / "drop"
    make_fleet_command(drop, 3, 60, 1)
    (drop / "visits_torn.csv").write_bytes(b"visit_id,site_id\nV1,\xff\n")
    with pytest.raises(UsageError, match=r"visits_torn.csv:2: byte 21 holds 0xff, expected UTF-8"):
        run_in_parts(drop, tmp_path / "into", TODAY, parts=2)
    assert not (tmp_path / "into" / "fleet.duckdb").exists()


def test_parts_without_any_visit(tmp_path: Path) -> None:
    """More parts than units: some hold nothing, and make their tables all the same."""
    drop = tmp_path / "drop"
    make_fleet_command(drop, 1, 20, 1)
    whole = run_stages([drop], tmp_path / "whole", TODAY, without=("report",))
    assert_same(whole, run_in_parts(drop, tmp_path / "into", TODAY, parts=3))
    assert query_of(whole)("SELECT count(*) < 3 AS few FROM equipment")["few"][0]


def test_parts_after_a_whole_run_and_the_other_way_round(tmp_path: Path) -> None:
    """What one way of running leaves in the work file does not stand in the way of the other."""
    drop, into = tmp_path / "drop", tmp_path / "into"
    make_fleet_command(drop, 20, 300, 1)
    whole = run_stages([drop], tmp_path / "whole", TODAY, without=("report",))
    run_stages([drop], into, TODAY, without=("report",))
    assert_same(whole, run_in_parts(drop, into, TODAY, 2))
    assert_same(whole, run_stages([drop], into, TODAY, without=("report",)))
