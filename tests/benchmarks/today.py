"""What an office does today, beside the whole run: one pandas script with a loop over the sites.

    python -m tests.benchmarks.today [visits] [--rounds N]

The script reads the same files, turns units, mends plain sign slips, leaves out readings without a zero, and gives each
equipment and mode its median, Theil-Sen slope (scipy) and Mann-Kendall test (pymannkendall). It does far less than a
run: no duplicates or corrections, no ports, no airflow, no uncertainty, nothing on people or work, no pages.
"""

from __future__ import annotations

import argparse
import statistics
import sys
import tempfile
import time
from pathlib import Path

import pandas as pd
import pymannkendall
from scipy import stats

from pipeline.runner import run_drops
from pipeline.simulate import make_fleet_command
from tests.benchmarks.whole import TODAY

PER_UNIT = {"inwc": 1.0, "pa": 1 / 249.08891, "mmwc": 9.80665 / 249.08891}


def office_script(drop: Path) -> pd.DataFrame:
    """One row an equipment and mode: n, median, share over the rating, slope (in. w.c. a year), Mann-Kendall p."""
    visits = pd.concat([pd.read_csv(f, low_memory=False) for f in sorted(drop.glob("visits*.csv"))])
    equipment = pd.read_csv(drop / "equipment.csv", low_memory=False)
    visits["at"] = pd.to_datetime(visits["visited_at"], utc=True, errors="coerce")
    factor = visits["pressure_unit"].fillna("inwc").map(PER_UNIT)
    side = {
        name: pd.to_numeric(visits[name], errors="coerce") * factor
        for name in ("return_static", "supply_static", "zero_return", "zero_supply")
    }
    returned = -(side["return_static"] - side["zero_return"].fillna(0)).abs()
    supplied = (side["supply_static"] - side["zero_supply"].fillna(0)).abs()
    visits["tesp"] = supplied - returned
    good = visits[
        visits["zeroed_at"].notna()
        & visits["at"].notna()
        & visits["tesp"].between(0.05, 3)
        & visits["filter_condition"].fillna("clean").isin(["clean", "new"])
    ]
    good = good.merge(equipment[["equipment_id", "rated_tesp_inwc"]], on="equipment_id")
    rows = []
    for (unit, mode), group in good.groupby(["equipment_id", "mode"]):
        years = group["at"].astype("int64").to_numpy() / 3.15576e16
        tesp = group["tesp"].to_numpy()
        slope = p_value = float("nan")
        if len(group) >= 5:
            order = years.argsort(kind="stable")
            slope = stats.theilslopes(tesp, years)[0]
            p_value = pymannkendall.original_test(tesp[order]).p
        rated = group["rated_tesp_inwc"].iloc[0]
        rows.append(
            (unit, mode, len(group), float(pd.Series(tesp).median()), (tesp > rated).mean(), slope, p_value)
        )
    columns = ["equipment_id", "mode", "n", "median_inwc", "share_over", "slope", "p_value"]
    return pd.DataFrame(rows, columns=columns)


def main() -> None:
    """Both on one fleet, in turns; medians and their ratio."""
    parser = argparse.ArgumentParser()
    parser.add_argument("visits", nargs="?", type=int, default=100_000)
    parser.add_argument("--rounds", type=int, default=3)
    arguments = parser.parse_args()
    script, run = [], []
    with tempfile.TemporaryDirectory() as folder:
        drop = Path(folder) / "drop"
        make_fleet_command(drop, arguments.visits // 10, arguments.visits, 1)
        for number in range(arguments.rounds):
            started = time.perf_counter()
            rows = office_script(drop)
            script.append(time.perf_counter() - started)
            started = time.perf_counter()
            run_drops([drop], Path(folder) / f"out_{number}", today=TODAY, direct=True, quiet=True)
            run.append(time.perf_counter() - started)
    ratio = statistics.median(a / b for a, b in zip(script, run, strict=True))
    sys.stdout.write(
        f"{arguments.visits} visits, {len(rows)} units and modes: script {statistics.median(script):.1f} s, "
        f"whole run {statistics.median(run):.1f} s, ratio {ratio:.2f}\n"
    )


if __name__ == "__main__":
    main()
