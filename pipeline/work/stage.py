"""The work stage: pairs in SQL, the shift of each kind on arrays, follow-up in SQL."""

from __future__ import annotations

import polars as pl

from pipeline.warehouse import Warehouse
from pipeline.work.shift import hodges_lehmann

SHIFT = {"work_kind": pl.String, "shift_inwc": pl.Float64, "shift_lo": pl.Float64, "shift_hi": pl.Float64}


def run_work(warehouse: Warehouse) -> None:
    """Make work_effect and work_follow_up."""
    warehouse.run("work/work_pair.sql")
    warehouse.store("work_shift", shifts(warehouse))
    warehouse.run("work/work_effect.sql")
    warehouse.run("work/work_follow_up.sql")


def shifts(warehouse: Warehouse) -> pl.DataFrame:
    """One row per kind of work with enough pairs: shift and interval in in. w.c."""
    pairs = warehouse.query("SELECT work_kind, shift_inwc FROM work_pair ORDER BY work_kind, work_id")
    rows = [
        (kind, *hodges_lehmann(part["shift_inwc"].to_numpy()))
        for (kind,), part in pairs.group_by(["work_kind"], maintain_order=True)
        if part.height >= warehouse.settings["work_min_pairs"]
    ]
    return pl.DataFrame(rows, schema=SHIFT, orient="row")
