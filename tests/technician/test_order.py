"""The readings found in another order: the same fits to the last bit."""

from __future__ import annotations

import shutil
from pathlib import Path

import polars as pl
from polars.testing import assert_frame_equal

from pipeline.technician.readings import fit_readings
from pipeline.technician.stage import read_all
from pipeline.warehouse import Warehouse


def fits(warehouse: Warehouse) -> list[pl.DataFrame]:
    made = fit_readings(read_all(warehouse), warehouse.settings)
    return [made["offset_fit"].sort("measurer"), made["drift_fit"].sort("port", "instrument_id")]


def test_the_order_of_the_visits_changes_no_bit(small_file: Path, tmp_path: Path) -> None:
    shutil.copy(small_file.parent / "work.duckdb", tmp_path / "work.duckdb")
    with Warehouse(tmp_path / "work.duckdb") as warehouse:
        before = fits(warehouse)
        warehouse.execute(
            "CREATE OR REPLACE TABLE staging.visit_measured AS "
            "SELECT * FROM staging.visit_measured ORDER BY hash(visit_id, 1)"
        )
        warehouse.execute(
            "CREATE OR REPLACE TABLE staging.equipment_facts AS "
            "SELECT * FROM staging.equipment_facts ORDER BY hash(equipment_id)"
        )
        after = fits(warehouse)
    assert before[0].height > 3
    assert before[1].height > 3
    for one, other in zip(before, after, strict=True):
        assert_frame_equal(one, other, check_exact=True)
