"""Units that come later and stand first by name: they are numbered on, and nothing may rest on the order of numbers."""

from __future__ import annotations

import shutil
from pathlib import Path

import polars as pl
import pytest

from tests.conftest import FIELD_DROP, WHOLE_DROP, WHOLE_TODAY
from tests.day.test_day import SETTINGS as OF_DAYS
from tests.day.test_day import WHOLE, run, wide_steps
from tests.test_determinism import assert_same

__all__ = ["wide_steps"]  # a fixture

SETTINGS = OF_DAYS.with_values({"day_from_visits": 500}, "the test")  # fewer than the half that comes first
OF_UNITS = ("equipment", "visits", "work")
N_FIRST = 81  # the next unit by name is another group's: the two branches share no technician


def half(into: Path, *, first: bool) -> Path:
    """The rows of the first units by name, or all others."""
    into.mkdir()
    units = sorted(pl.read_csv(WHOLE_DROP / "equipment.csv", infer_schema=False)["equipment_id"])
    for file in WHOLE_DROP.iterdir():
        if file.name.startswith(OF_UNITS):
            rows = pl.read_csv(file, infer_schema=False)
            rows.filter((pl.col("equipment_id") < units[N_FIRST]) == first).write_csv(into / file.name)
        elif not first:
            shutil.copy(file, into)
    return into


@pytest.mark.skipif(WHOLE_DROP != FIELD_DROP, reason="N_FIRST is a number of the field drop")
def test_the_first_half_by_name_comes_last(tmp_path: Path) -> None:
    """Groups of technicians, and the last digits of the fits, are those of a run over both at once: the same tables,
    numbers within 1e-9, whatever the order of the drops (design, "Deterministic")."""
    drops = [half(tmp_path / "second", first=False), half(tmp_path / "first", first=True)]
    for drop in drops:
        run([drop], tmp_path / "into", WHOLE_TODAY, SETTINGS)
    run(drops, tmp_path / "whole", WHOLE_TODAY, SETTINGS, WHOLE)
    assert_same(tmp_path / "into" / "fleet.duckdb", tmp_path / "whole" / "fleet.duckdb")
