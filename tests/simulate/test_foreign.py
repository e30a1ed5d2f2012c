"""The foreign exports, read by their mappings, give the same cleaned tables as the same fleet in plain form."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import polars as pl
import pytest
from polars.testing import assert_frame_equal

from pipeline.load import load
from pipeline.load.inputs import BY_NAME
from pipeline.stages import RunOrder
from pipeline.warehouse import Warehouse
from seed_data.make_foreign import EXPORTS, Export, write_export, write_plain

TODAY = date(2026, 11, 20)


@pytest.mark.parametrize("export", EXPORTS, ids=lambda e: e.name)
def test_committed_files_are_what_the_script_writes(export: Export, tmp_path: Path) -> None:
    write_export(tmp_path, export)
    committed = export.mapping_file.parent
    names = sorted(p.name for p in tmp_path.iterdir())
    assert [*names, "mapping.toml"] == sorted(p.name for p in committed.iterdir())
    for name in names:
        assert (tmp_path / name).read_bytes() == (committed / name).read_bytes(), name


def cleaned(drop: Path, into: Path, mapping: Path | None) -> dict[str, pl.DataFrame]:
    order = RunOrder((drop,), into, TODAY, mapping=mapping)
    into.mkdir()
    with Warehouse(order.work_file) as warehouse:
        load(warehouse, order)
        counts = warehouse.query("SELECT sum(rows_rejected) AS rejected FROM load_ledger")
        assert counts["rejected"].item() == 0
        return {
            t.cleaned: warehouse.query(f"SELECT * FROM {t.cleaned} ORDER BY ALL") for t in BY_NAME.values()
        }


@pytest.mark.parametrize("export", EXPORTS, ids=lambda e: e.name)
def test_mapping_reads_the_export_as_the_plain_fleet(export: Export, tmp_path: Path) -> None:
    (tmp_path / "plain").mkdir()
    write_plain(tmp_path / "plain", export)
    plain = cleaned(tmp_path / "plain", tmp_path / "plain_out", None)
    foreign = cleaned(export.mapping_file.parent, tmp_path / "foreign_out", export.mapping_file)
    assert plain["visit"].height == 90
    for name, frame in plain.items():
        assert_frame_equal(foreign[name], frame, check_exact=False, abs_tol=1e-6, rel_tol=0)
