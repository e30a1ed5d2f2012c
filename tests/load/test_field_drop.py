"""The common path: an ordinary drop is loaded, row for row, and loading it again changes nothing."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest

from pipeline.load import accept, load
from pipeline.stages import RunOrder
from pipeline.warehouse import Warehouse

SITES = "site_id,branch\nS1,North\nS2,North\n"


def _order(drop: Path, into: Path) -> RunOrder:
    return RunOrder(drops=(drop,), into=into, today=date(2026, 11, 1))


def test_a_correction_supersedes_and_a_second_run_changes_nothing(tmp_path: Path) -> None:
    drop = tmp_path / "drop"
    drop.mkdir()
    (drop / "sites_1.csv").write_text(SITES)
    (drop / "sites_2.csv").write_text("site_id,branch\nS2,South\nS1,North\n")
    order = _order(drop, tmp_path / "into")
    order.into.mkdir()
    with Warehouse(order.work_file) as warehouse:
        for _ in range(2):
            load(warehouse, order)
            accept(warehouse, order)
            ledger = "SELECT rows_read, rows_loaded, rows_rejected, rows_repeated, rows_superseded FROM load_ledger"
            assert warehouse.con.sql(ledger).fetchall() == [(2, 2, 0, 0, 1), (2, 1, 0, 1, 0)]
            assert warehouse.con.sql("SELECT site_id, branch FROM site ORDER BY ALL").fetchall() == [
                ("S1", "North"),
                ("S2", "South"),
            ]


@pytest.mark.parametrize("gone", ["equipment.csv", "technicians.csv"])
def test_rows_without_their_reference_are_tried_again(tmp_path: Path, gone: str) -> None:
    late = {
        "equipment.csv": "equipment_id,site_id,equipment_kind,rated_tesp_inwc\nE1,S1,furnace,0.5\n",
        "technicians.csv": "technician_id\nT1\n",
    }
    first, second = tmp_path / "first", tmp_path / "second"
    first.mkdir()
    second.mkdir()
    (first / "sites.csv").write_text(SITES)
    (first / "visits.csv").write_text(
        "visit_id,site_id,equipment_id,technician_id,visited_at,mode,return_static,supply_static\n"
        "V1,S1,E1,T1,2026-03-01T08:00:00-05:00,cooling,-0.22,0.31\n"
    )
    for name, text in late.items():
        ((second if name == gone else first) / name).write_text(text)
    order = _order(first, tmp_path / "into")
    order.into.mkdir()
    with Warehouse(order.work_file) as warehouse:
        load(warehouse, order)
        accept(warehouse, order)
        assert warehouse.scalar("SELECT count(*) FROM visit") == 0
        rejected = warehouse.con.sql("SELECT line_number, reason FROM rejected_row").fetchall()
        assert rejected == [(2, gone[:-4].removesuffix("s") + "_unknown")]
        load(warehouse, _order(second, order.into))
        assert warehouse.scalar("SELECT count(*) FROM rejected_row") == 0
        assert warehouse.con.sql("SELECT visited_on, return_decimals FROM visit").fetchall() == [
            (date(2026, 3, 1), 2)
        ]
