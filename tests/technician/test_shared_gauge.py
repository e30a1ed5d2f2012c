"""A small firm most of whose hands hold one gauge that reads off: the gauge is told, nobody else is accused."""

from __future__ import annotations

from pathlib import Path

import polars as pl
import pytest

from pipeline.simulate.make import make_fleet
from tests import planted
from tests.benchmarks.odd import SHARED_GAUGE, SMALL, shared_gauge

pytestmark = pytest.mark.slow


def test_four_of_six_hands_with_one_gauge_do_not_make_the_two_others_wrong(tmp_path: Path) -> None:
    drop = tmp_path / "drop"
    make_fleet(drop, SMALL, 1)
    who = shared_gauge(drop, 4)
    fleet = planted.measured(drop)
    pairs = fleet.ask(
        "SELECT technician_id, instrument_id, return_doubtful, supply_doubtful FROM instrument_offset"
    )
    doubtful = pairs.filter(pl.col("return_doubtful") | pl.col("supply_doubtful"))
    assert sorted(doubtful["technician_id"]) == who
    assert set(doubtful["instrument_id"]) == {SHARED_GAUGE}
    assert set(fleet.ask("SELECT follows FROM offset_follows")["follows"]) == {"instrument"}
    covered, units = planted.level_coverage(fleet)
    assert units > 50
    assert covered >= 0.9 * units
