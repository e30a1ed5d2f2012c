"""The bound on what DuckDB holds, and a run within a small one."""

from __future__ import annotations

from pathlib import Path

import pytest
from polars.testing import assert_frame_equal

from pipeline.settings import Settings
from pipeline.simulate import make_fleet_command
from pipeline.stages import STAGES, RunOrder
from pipeline.warehouse import Warehouse
from tests.scale.test_parts import TODAY
from tests.test_determinism import HISTORY, published_tables


def limited(gb: float) -> Settings:
    return Settings().with_values({"memory_limit_gb": gb}, "the test")


@pytest.mark.parametrize(("gb", "most"), [(0.5, 0.5), (1e6, None), (0, None)])
def test_the_bound_is_the_setting_or_what_the_machine_allows(gb: float, most: float | None) -> None:
    """A bound beyond the machine is no bound: DuckDB's own, the same as with 0, stands."""
    asked = "SELECT parse_formatted_bytes(current_setting('memory_limit')) AS bytes"
    with Warehouse(":memory:", limited(gb)) as warehouse, Warehouse(":memory:", limited(0)) as own:
        bound, machine = warehouse.scalar(asked), own.scalar(asked)
    assert bound == pytest.approx(most * 1e9 if most else machine, rel=0.01)


def run(drop: Path, into: Path, gb: float) -> Path:
    into.mkdir()
    order = RunOrder((drop,), into, TODAY, settings=limited(gb))
    with Warehouse(order.work_file, order.settings) as warehouse:
        for name, stage in STAGES:
            if name != "report":
                stage(warehouse, order)
    return order.published_file


def test_little_memory_makes_the_same_tables(tmp_path: Path) -> None:
    """A bound below what the same run takes freely; ten million visits within 2 GB are a benchmark (`growth`)."""
    drop = tmp_path / "drop"
    make_fleet_command(drop, 3000, 30_000, 1)
    plenty, tight = (
        published_tables(run(drop, tmp_path / name, gb)) for name, gb in (("plenty", 3), ("tight", 0.2))
    )
    for name in plenty.keys() - HISTORY - {"setting"}:
        assert_frame_equal(plenty[name], tight[name], abs_tol=1e-9, rel_tol=1e-9)
