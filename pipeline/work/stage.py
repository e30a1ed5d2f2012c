"""The work stage: visits around works, pairs and follow-up in SQL, the shift of each kind on arrays."""

from __future__ import annotations

import polars as pl

from pipeline.steps import Step, run_steps
from pipeline.warehouse import Warehouse
from pipeline.work.shift import hodges_lehmann

SHIFT = {"work_kind": pl.String, "shift_inwc": pl.Float64, "shift_lo": pl.Float64, "shift_hi": pl.Float64}


def run_work(warehouse: Warehouse) -> None:
    """Make the tables on works: what STEPS lists."""
    run_steps(warehouse, STEPS)


def find_shifts(warehouse: Warehouse) -> None:
    """`work_shift`: the shift of each kind of work."""
    warehouse.store("work_shift", shifts(warehouse))


def shifts(warehouse: Warehouse) -> pl.DataFrame:
    """One row per kind of work with enough pairs: shift and interval in in. w.c."""
    pairs = warehouse.query("SELECT work_kind, shift_inwc FROM work_pair ORDER BY work_kind, work_id")
    rows = [
        (kind, *hodges_lehmann(part["shift_inwc"].to_numpy()))
        for (kind,), part in pairs.group_by(["work_kind"], maintain_order=True)
        if part.height >= warehouse.settings["work_min_pairs"]
    ]
    return pl.DataFrame(rows, schema=SHIFT, orient="row")


STEPS = (
    Step("equipment", "site/comparable_visit.sql"),
    Step("equipment", "work/work_side.sql", ("work_side",)),
    Step("equipment", "work/work_follow_up.sql", ("work_follow_up",)),
    Step("fleet", "work/work_pair.sql", ("work_pair",)),
    Step("fleet", find_shifts, ("work_shift",), ("work_pair",)),
    Step("fleet", "work/work_effect.sql", ("work_effect",)),
)
