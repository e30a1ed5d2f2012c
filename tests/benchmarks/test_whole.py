"""The benchmark of the whole run still runs: every stage is timed, and every SQL file."""

from __future__ import annotations

from pathlib import Path

from pipeline.simulate import make_fleet_command
from pipeline.stages import STAGES
from tests.benchmarks.whole import RAW, one_round, table


def test_a_round_times_every_stage(tmp_path: Path) -> None:
    make_fleet_command(tmp_path / "drop", 3, 60, 1)
    found = one_round(tmp_path / "drop", tmp_path)
    assert list(found["stages"]) == [RAW, *dict(STAGES)]
    assert all(wall > 0 for wall, _ in found["stages"].values())
    assert "site/site_priority.sql" in found["files"]
    assert table([found["stages"]]).splitlines()[-1].startswith("all stages")
