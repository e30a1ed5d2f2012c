"""How well the effect of work is told on simulated fleets: sham work does nothing, real work does what was planted.

.venv/bin/python -m tests.benchmarks.work [FLEETS]

Small fleets (150 sites, 12 technicians, 12 visits a site, work on 60 % of the units, a third of it sham), most works
triggered by a high reading. Beside it what a before/after without care for that says: last reading before the work
against the first after it.
"""

from __future__ import annotations

import sys
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from statistics import median

import polars as pl

from pipeline.simulate.make import make_fleet
from pipeline.simulate.profile import Profile
from pipeline.stages import STAGES, RunOrder
from pipeline.warehouse import Warehouse
from pipeline.work.shift import Shift, hodges_lehmann
from tests.conftest import FIELD_TODAY

SHAM = ("duct_restrapped",)
# Condition that the simulator does not model as like-new work: these change the reading as found, not the level.
NO_EFFECT = {
    "coil_cleaned",
    "blower_cleaned",
    "registers_opened",
    "filter_changed",
    "other",
    "equipment_replaced",
}
FLEET = Profile(
    n_sites=150, n_technicians=12, visits_per_site=12, work_share=0.6, sham_work_share=0.35, sham_kinds=SHAM
)
FLEETS = {
    "7 of 10 works triggered": FLEET,
    "all triggered": replace(FLEET, triggered_work_share=1.0),
    "all triggered, noise doubled": replace(FLEET, triggered_work_share=1.0, noise_sd=0.024),
}
STEPS = ("load", "check", "static", "technician", "site", "work")

CARELESS = """
WITH around AS (
    SELECT
        w.work_id,
        v.mode,
        arg_max(v.tesp_inwc, (v.visited_at, v.visit_id)) FILTER (WHERE v.visited_on < w.done_on) AS last_before,
        arg_min(v.tesp_inwc, (v.visited_at, v.visit_id)) FILTER (WHERE v.visited_on > w.done_on) AS first_after
    FROM work AS w
    INNER JOIN visit_static AS v ON w.equipment_id = v.equipment_id AND v.like_new
    WHERE w.work_kind = 'duct_restrapped'
    GROUP BY w.work_id, v.mode
)

SELECT first_after - last_before AS shift_inwc
FROM around
WHERE last_before IS NOT NULL AND first_after IS NOT NULL
ORDER BY work_id, mode
"""


@dataclass(frozen=True)
class Told:
    """One fleet: does the sham's interval hold 0; does that of the careless comparison; errors of the real kinds; how
    many of their intervals hold the truth, and of how many."""

    sham: Shift
    careless: Shift
    errors: list[float]
    covered: int

    def sham_holds(self) -> bool:
        return self.sham.low <= 0 <= self.sham.high

    def careless_holds(self) -> bool:
        return self.careless.low <= 0 <= self.careless.high


def told(profile: Profile, seeds: range) -> Iterator[Told]:
    """Make and judge the fleets, one by one."""
    for seed in seeds:
        with tempfile.TemporaryDirectory() as folder:
            yield _told(Path(folder), profile, seed)


def _told(folder: Path, profile: Profile, seed: int) -> Told:
    drop, into = folder / "drop", folder / "out"
    make_fleet(drop, profile, seed)
    into.mkdir()
    order = RunOrder((drop,), into, FIELD_TODAY)
    with Warehouse(order.work_file) as warehouse:
        for name, stage in STAGES:
            if name in STEPS:
                stage(warehouse, order)
        effect = warehouse.query("SELECT * FROM work_effect WHERE shift_inwc IS NOT NULL ORDER BY work_kind")
        pairs = warehouse.query("SELECT work_id, work_kind FROM work_pair ORDER BY work_id")
        careless = hodges_lehmann(warehouse.query(CARELESS)["shift_inwc"].to_numpy())
    truth = pl.read_parquet(drop / "truth" / "work.parquet").with_columns(
        true_shift=(pl.col("shift_cooling_inwc") + pl.col("shift_heating_inwc")) / 2
    )
    planted = pairs.join(truth.select("work_id", "true_shift"), on="work_id")
    sham, errors, covered = None, [], 0
    for row in effect.iter_rows(named=True):
        shift = Shift(row["shift_inwc"], row["shift_lo"], row["shift_hi"])
        if row["work_kind"] in SHAM:
            sham = shift
        elif row["work_kind"] not in NO_EFFECT:
            of_kind = planted.filter(pl.col("work_kind") == row["work_kind"])["true_shift"].to_numpy()
            true = hodges_lehmann(of_kind).estimate
            errors.append(abs(shift.estimate - true))
            covered += shift.low <= true <= shift.high
    assert sham is not None, f"seed {seed}: no sham work to judge"
    return Told(sham, careless, errors, covered)


def row(name: str, results: list[Told]) -> str:
    """One line of the table of docs/statistics.md."""
    errors, n = [e for r in results for e in r.errors], len(results)
    covered = sum(r.covered for r in results) / len(errors)
    careless = median(r.careless.estimate for r in results)
    cells = (
        name,
        f"{sum(r.sham_holds() for r in results)} of {n}",
        f"{sum(r.careless_holds() for r in results)} of {n}",
        f"{careless:+.4f}",
        f"{median(errors):.4f} of {len(errors)}",
        f"{covered:.3f}",
    )
    return f"| {' | '.join(cells)} |\n"


def main(fleets: int) -> None:
    sys.stdout.write(
        "| fleets | sham: interval holds 0 | careless comparison: holds 0 | its median shift "
        "| real work: median error of the shift | its interval covers |\n|---|---|---|---|---|---|\n"
    )
    for name, profile in FLEETS.items():
        sys.stdout.write(row(name, list(told(profile, range(fleets)))))
        sys.stdout.flush()


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 100)
