"""How well the checks find planted slips and leave sound visits alone: the table of docs/checks.md.

    .venv/bin/python -m tests.sql.accuracy [SEEDS]

A fleet is made, loaded, checked and measured; its truth knows the slip of every visit and the pressures at the right
ports. A slip counts where the row itself can show it: see `SHOWS`.
"""

from __future__ import annotations

import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path

import duckdb
import polars as pl

from pipeline.simulate.make import make_fleet
from pipeline.simulate.profile import Profile
from tests.conftest import FIELD_TODAY, run_stages

FLEET = Profile(
    n_sites=700, visits_per_site=12, n_technicians=45, n_skippers=3, n_paper_zeroers=2, n_wrong_ports=2
)
VISITS_ONLY = ("gate", "technician", "site", "work", "contracts", "publish", "report")
# The slips that a row can show, and on which rows. Figures near zero on a row in Pa or mm w.c. are by the data contract
# those of another unit wherever they are plausible in it, so only the others can show that the blower stood still.
SHOWS = {
    "ports_swapped": "true",
    "unit_mismatch": "true",
    "return_sign_wrong": "true",
    "supply_sign_wrong": "true",
    "reading_near_zero": "NOT unit_wrong",
    "zero_offset_large": "true",
    "zero_after_reading": "true",
    "zero_stale": "true",
    "visit_in_future": "true",
    "visit_before_install": "true",
    "return_port_wrong": "true",
    "supply_port_wrong": "true",
    "component_drop_impossible": "true",
    "tesp_sum_mismatch": "true",
}
# Sign, unit, range and date checks: what they find on a sound visit is a false alarm.
ALARMS = (
    "return_sign_wrong",
    "supply_sign_wrong",
    "ports_swapped",
    "reading_near_zero",
    "unit_mismatch",
    "reading_out_of_range",
    "visit_in_future",
    "visit_before_install",
    "visit_after_retirement",
    "zero_after_reading",
    "zero_stale",
)
Count = tuple[int, int]


@dataclass(frozen=True)
class Checked:
    """What was found on one fleet. Counts are (hits, of how many)."""

    recall: dict[str, Count]
    near_zero_at_all: Count
    false_alarms: Count
    alarms_by_check: dict[str, int]
    zero_not_recorded_wrong: int
    repaired_errors: (
        pl.DataFrame
    )  # check_id, error in in. w.c.: TESP of valid repaired visits against the truth


def measure(folder: Path, seed: int, profile: Profile = FLEET) -> Checked:
    """Make a fleet of that seed in `folder`, check it and compare with its truth."""
    drop = folder / "drop"
    make_fleet(drop, profile, seed)
    run_stages([drop], folder / "out", FIELD_TODAY, without=VISITS_ONLY)
    with duckdb.connect(str(folder / "out" / "work.duckdb"), read_only=True) as con:
        con.execute("SET TimeZone = 'UTC'")
        con.execute(
            "CREATE TEMP TABLE seen AS SELECT t.*, coalesce(r.unit_wrong, false) AS unit_wrong, v.valid, "
            "v.tesp_inwc AS measured_inwc "
            f"FROM read_parquet('{drop}/truth/visit_part*.parquet') AS t "
            "LEFT JOIN noticed_reading AS r USING (visit_id) JOIN visit_static AS v USING (visit_id)"
        )
        return Checked(
            {slip: _recall(con, slip, shows) for slip, shows in SHOWS.items()},
            _recall(con, "reading_near_zero", "true"),
            _alarms(con),
            dict(con.sql(_ALARMS_BY_CHECK).fetchall()),
            int(con.sql(_ZERO_WRONG).fetchall()[0][0]),
            con.sql(_REPAIRED).pl(),
        )


_ALARMED = f"SELECT visit_id, check_id FROM finding WHERE check_id IN {ALARMS}"
_ALARMS_BY_CHECK = f"""
    SELECT check_id, count(*) FROM ({_ALARMED}) SEMI JOIN (FROM seen WHERE sound) USING (visit_id) GROUP BY check_id
"""
_ZERO_WRONG = """
    SELECT count(*) FROM seen AS s LEFT JOIN finding AS f
    ON s.visit_id = f.visit_id AND f.check_id = 'zero_not_recorded' WHERE (f.visit_id IS NULL) <> s.zero_recorded
"""
_REPAIRED = """
    SELECT f.check_id, abs(s.measured_inwc - s.tesp_inwc) AS error
    FROM seen AS s JOIN finding AS f USING (visit_id) WHERE f.consequence = 'repaired' AND s.valid ORDER BY ALL
"""


def _recall(con: duckdb.DuckDBPyConnection, slip: str, shows: str) -> Count:
    found = f"(SELECT visit_id FROM finding WHERE check_id = '{slip}')"
    query = (
        f"SELECT count(*) FILTER (visit_id IN {found}), count(*) FROM seen WHERE slip = '{slip}' AND {shows}"
    )
    hits, of = con.sql(query).fetchall()[0]
    return hits, of


def _alarms(con: duckdb.DuckDBPyConnection) -> Count:
    alarmed = f"(SELECT visit_id FROM ({_ALARMED}))"
    hits, of = con.sql(
        f"SELECT count(*) FILTER (visit_id IN {alarmed}), count(*) FROM seen WHERE sound"
    ).fetchall()[0]
    return hits, of


def main() -> None:
    """Print the table over some seeds, a column a seed."""
    seeds = range(int(sys.argv[1]) if len(sys.argv) > 1 else 5)
    with tempfile.TemporaryDirectory() as folder:
        fleets = [measure(Path(folder) / str(seed), seed) for seed in seeds]
    out = sys.stdout
    out.write(
        "| slip | " + " | ".join(f"seed {s}" for s in seeds) + " |\n|---|" + "---|" * len(fleets) + "\n"
    )
    for slip in SHOWS:
        out.write(
            f"| {slip} | " + " | ".join(f"{h} of {n}" for h, n in (f.recall[slip] for f in fleets)) + " |\n"
        )
    rows = {
        "near zero, rows of every unit": [
            f"{f.near_zero_at_all[0]} of {f.near_zero_at_all[1]}" for f in fleets
        ],
        "zero_not_recorded, visits judged wrongly": [str(f.zero_not_recorded_wrong) for f in fleets],
        "false alarms": [f"{f.false_alarms[0]} of {f.false_alarms[1]}" for f in fleets],
        "TESP of repaired visits, 90th percentile of the error, in. w.c.": [
            f"{f.repaired_errors['error'].quantile(0.9, 'linear'):.4f} of {len(f.repaired_errors)}"
            for f in fleets
        ],
    }
    for name, cells in rows.items():
        out.write(f"| {name} | " + " | ".join(cells) + " |\n")
    for f in fleets:
        out.write(f"alarms: {f.alarms_by_check}\n")
    together = pl.concat([f.repaired_errors for f in fleets])
    for check_id, n, q90 in (
        together.group_by("check_id")
        .agg(pl.len(), pl.col("error").quantile(0.9))
        .sort("check_id")
        .iter_rows()
    ):
        out.write(f"{check_id}: {q90:.4f} of {n}\n")


if __name__ == "__main__":
    main()
