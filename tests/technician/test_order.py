"""The readings found in another order: the same fits to the last bit."""

from __future__ import annotations

import shutil
from pathlib import Path

import polars as pl
import pytest
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


@pytest.mark.parametrize("order", ["instrument_id, supply_offset_inwc", "instrument_id DESC, n_visits"])
def test_of_offsets_that_tie_the_first_instruments_return_port_is_named(order: str) -> None:
    with Warehouse() as warehouse:
        warehouse.execute("CREATE TABLE technician AS SELECT 'T' AS technician_id, 'b' AS branch")
        warehouse.execute(
            "CREATE TABLE practice_fit AS SELECT 'T' AS technician_id, 'zero_not_recorded' AS check_id, "
            "60 AS n_visits, 0 AS n_found, 0.0 AS shrunk_rate, 0.1 AS fleet_rate, 0.2 AS funnel_hi, 1.0 AS p_value"
        )
        warehouse.execute(
            f"""
            CREATE TABLE instrument_offset AS
            SELECT *, 0.001 AS return_offset_se, 0.001 AS supply_offset_se FROM (VALUES
                ('T', 'M1', 20, 0.001, FALSE, NULL::DOUBLE, FALSE), ('T', 'M2', 20, 0.004, FALSE, 0.004, FALSE),
                ('T', 'M3', 20, 0.004, FALSE, -0.004, FALSE), ('T', 'M4', 19, 0.3, FALSE, 0.3, FALSE)
            ) AS o(technician_id, instrument_id, n_visits, return_offset_inwc, return_doubtful, supply_offset_inwc,
                   supply_doubtful) ORDER BY {order}
            """
        )
        warehouse.run("technician/offset_port.sql")
        asked = "SELECT hidden_offset_inwc, hidden_port, hidden_instrument_id, zeroing_state FROM technician_zeroing"
        warehouse.run("technician/technician_zeroing.sql")
        assert warehouse.query(asked).rows() == [(0.004, "return", "M2", "zeroes")]
        warehouse.execute("UPDATE instrument_offset SET supply_doubtful = TRUE WHERE instrument_id = 'M3'")
        warehouse.run("technician/technician_zeroing.sql")
        assert warehouse.query(asked).rows() == [(-0.004, "supply", "M3", "zero_doubtful")]
