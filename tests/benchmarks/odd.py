"""How the verdicts hold where a fleet is not as the simulator thinks: its drop is edited, the truth still known.

    python -m tests.benchmarks.odd [SEEDS] [FLEET ...]

What belongs here: the edits, and a table with a column a fleet. What is measured: tests/planted.py.
"""

from __future__ import annotations

import sys
import tempfile
import zlib
from collections.abc import Callable
from dataclasses import dataclass, replace
from math import sqrt
from pathlib import Path
from statistics import mean

import polars as pl

from pipeline.simulate.make import make_fleet
from pipeline.simulate.profile import Profile
from tests import planted
from tests.benchmarks.verdicts import SHARES as VERDICTS
from tests.benchmarks.verdicts import cell

FLEET = Profile(n_sites=300, visits_per_site=12, n_technicians=19, n_skippers=1, n_paper_zeroers=1)
HOME = replace(FLEET, home_technician_share=0.8, n_paper_zeroers=4)
SMALL = replace(
    FLEET,
    n_sites=90,
    n_technicians=6,
    n_skippers=0,
    n_paper_zeroers=0,
    n_wrong_ports=0,
    branches=("One Yard",),
)
SEASON = 0.03  # half the swing of the supply static over the year, in. w.c.
SHARED_GAUGE, SHARED_OFFSET = "G-SHARED", 0.04


def chosen(ids: pl.Series, percent: int) -> pl.Series:
    """The same visits at each call, whatever file they stand in: a correction is edited as its first row was."""
    return pl.Series([zlib.crc32(text.encode()) % 100 < percent for text in ids], dtype=pl.Boolean)


def edit_visits(drop: Path, edit: Callable[[pl.DataFrame], pl.DataFrame]) -> None:
    """Change the rows of every visits file that hold sound readings in in. w.c.; the others stay as they are.

    `edit` finds the readings as numbers in `r` and `s`, the zeros (0 where missing) in `zr` and `zs`, what is hidden in
    the readings in `hr` and `hs`, and gives the same rows with other `r`, `s`, or any column of the file.
    """
    parts = [pl.read_parquet(path) for path in sorted((drop / "truth").glob("visit_part*.parquet"))]
    truth = pl.concat(parts).select(
        "visit_id", hr="hidden_return_inwc", hs="hidden_supply_inwc", coil_true="coil_drop_inwc"
    )
    number = {"r": "return_static", "s": "supply_static", "zr": "zero_return", "zs": "zero_supply"}
    for file in sorted(drop.glob("visits_*.csv")):
        rows = pl.read_csv(file, infer_schema=False).with_row_index("line")
        told = rows.join(truth.unique("visit_id"), on="visit_id", how="left").with_columns(
            pl.col(column).cast(pl.Float64, strict=False).alias(name) for name, column in number.items()
        )
        told = told.with_columns(pl.col("zr", "zs", "hr", "hs", "coil_true").fill_null(0))
        sound = (
            (pl.col("r") < -0.02)
            & (pl.col("s") > 0.02)
            & (pl.col("pressure_unit").fill_null("inwc") == "inwc")
        )
        sound &= (pl.col("r") > -2.5) & (pl.col("s") < 2.5)
        edited = edit(told.filter(sound)).with_columns(
            return_static=pl.col("r").round(3).cast(pl.String),
            supply_static=pl.col("s").round(3).cast(pl.String),
        )
        kept = rows.filter(~pl.col("line").is_in(edited["line"].implode()))
        pl.concat([kept, edited.select(rows.columns)]).sort("line").drop("line").write_csv(file)


def _paper(drop: Path) -> list[str]:
    people = pl.read_parquet(drop / "truth" / "technician.parquet")
    return people.filter(pl.col("kind") == "paper_zeroer")["technician_id"].to_list()


def _exchanged(drop: Path, *, hoses: bool) -> None:
    """Who zeroes on paper exchanges the hoses at 30 % of the visits: the offset stays with the gauge's port. Or writes
    both signs the wrong way round: it stays with the side."""
    who = _paper(drop)

    def edit(rows: pl.DataFrame) -> pl.DataFrame:
        hit = chosen(rows["visit_id"], 30) & rows["technician_id"].is_in(who)
        at_return, at_supply = (
            pl.col("r") - pl.col("zr") - pl.col("hr"),
            pl.col("s") - pl.col("zs") - pl.col("hs"),
        )
        new_return = at_supply + pl.col("zr") + pl.col("hr") if hoses else -pl.col("r")
        new_supply = at_return + pl.col("zs") + pl.col("hs") if hoses else -pl.col("s")
        total = (new_supply - new_return).abs().round(2).cast(pl.String)
        return rows.with_columns(hit=hit).with_columns(
            r=pl.when("hit").then(new_return).otherwise("r"),
            s=pl.when("hit").then(new_supply).otherwise("s"),
            reported_tesp=pl.when(pl.col("hit") & pl.col("reported_tesp").is_not_null())
            .then(total)
            .otherwise("reported_tesp"),
        )

    edit_visits(drop, edit)


def hoses_exchanged(drop: Path) -> None:
    _exchanged(drop, hoses=True)


def signs_reversed(drop: Path) -> None:
    _exchanged(drop, hoses=False)


def shared_gauge(drop: Path, hands: int = 3) -> list[str]:
    """Sound technicians use one gauge, whose return port reads 0.04 high, at all their visits; returns who they are."""
    people = pl.read_parquet(drop / "truth" / "technician.parquet").filter(pl.col("kind") == "sound")
    branch = pl.read_csv(drop / "technicians.csv", infer_schema=False).select("technician_id", "branch")
    who = people.join(branch, on="technician_id").sort("branch", "technician_id")["technician_id"].to_list()
    who = who[:hands]
    gauges = pl.read_csv(drop / "instruments.csv", infer_schema=False)
    pl.concat([gauges, gauges.head(1).with_columns(instrument_id=pl.lit(SHARED_GAUGE))]).write_csv(
        drop / "instruments.csv"
    )

    def edit(rows: pl.DataFrame) -> pl.DataFrame:
        hit = pl.col("technician_id").is_in(who)
        return rows.with_columns(
            r=pl.when(hit).then(pl.col("r") + SHARED_OFFSET).otherwise("r"),
            reported_tesp=pl.when(hit).then(None).otherwise("reported_tesp"),
        )

    edit_visits(drop, edit)
    for file in sorted(drop.glob("visits_*.csv")):
        rows = pl.read_csv(file, infer_schema=False)
        gauge = (
            pl.when(pl.col("technician_id").is_in(who)).then(pl.lit(SHARED_GAUGE)).otherwise("instrument_id")
        )
        rows.with_columns(instrument_id=gauge).write_csv(file)
    return who


def fast_fans(drop: Path) -> None:
    """All fans of the first branch move a quarter more than their design asks for: the design is lowered, the truth
    split anew (data contract, section 4)."""
    sites = pl.read_csv(drop / "sites.csv", infer_schema=False).select("site_id", "branch")
    fast = sites.filter(pl.col("branch") == sites["branch"].min())["site_id"].implode()
    units = pl.read_csv(drop / "equipment.csv", infer_schema=False)
    design = ["design_cooling_cfm", "design_heating_cfm"]
    lowered = [(pl.col(c).cast(pl.Float64) * 0.8).round(0).cast(pl.String).alias(c) for c in design]
    units = units.with_columns(
        pl.when(pl.col("site_id").is_in(fast))
        .then(new)
        .otherwise(new.meta.output_name())
        .alias(new.meta.output_name())
        for new in lowered
    )
    units.write_csv(drop / "equipment.csv")
    file = drop / "truth" / "equipment.parquet"
    _split_anew(pl.read_parquet(file), units).write_parquet(file)


def _split_anew(truth: pl.DataFrame, units: pl.DataFrame) -> pl.DataFrame:
    number = [
        pl.col(c).cast(pl.Float64, strict=False).alias(c) for c in units.columns if c.startswith("design_")
    ]
    joined = truth.join(units.select("equipment_id", *number), on="equipment_id", how="left")
    share = (
        pl.col("design_return_inwc") / (pl.col("design_return_inwc") - pl.col("design_supply_inwc"))
    ).fill_null(0.5)
    design = pl.when(pl.col("mode") == "cooling").then("design_cooling_cfm").otherwise("design_heating_cfm")
    joined = joined.with_columns(
        bs=pl.col("rated_tesp_inwc") * (1 - share), br=pl.col("rated_tesp_inwc") * share,
        a=pl.when(pl.col("airflow_ratio").is_not_null()).then((pl.col("airflow_cfm") / design) ** 2),
    )  # fmt: skip

    def restriction(p: pl.Expr, budget: str) -> pl.Expr:
        b, a = pl.col(budget), pl.col("a")
        return pl.coalesce((p / a - b) * (a + 1) / 2, p - b)

    joined = joined.with_columns(
        return_restriction_inwc=restriction(-pl.col("return_inwc"), "br"),
        supply_restriction_inwc=restriction(pl.col("supply_inwc"), "bs"),
    ).with_columns(
        airflow_setting_inwc=pl.when(pl.col("a").is_not_null()).then(
            pl.col("excess_inwc") - pl.col("return_restriction_inwc") - pl.col("supply_restriction_inwc")
        )
    )
    causes = pl.concat_list(planted.CAUSES)
    named = causes.list.arg_max().replace_strict(
        {0: "return", 1: "supply", 2: "airflow_setting"}, default=None
    )
    return joined.with_columns(
        problem_side=pl.when(pl.col("excess_inwc") > 0).then(named).cast(truth.schema["problem_side"])
    ).select(truth.columns)


def after_the_coil(drop: Path) -> None:
    """Furnaces alone: at 40 % of the visits the supply is read after the coil, which is said; at 60 % of these the coil
    drop is measured too."""

    def edit(rows: pl.DataFrame) -> pl.DataFrame:
        hit = chosen(rows["visit_id"], 40) & (rows["supply_port"] == "before_coil").fill_null(False)
        with_drop = chosen("d" + rows["visit_id"], 60)
        rows = rows.with_columns(hit=hit & ((rows["s"] - rows["coil_true"]) > 0.03), with_drop=with_drop)
        drop_read = pl.col("coil_true").round(3).cast(pl.String)
        return rows.with_columns(
            s=pl.when("hit").then(pl.col("s") - pl.col("coil_true")).otherwise("s"),
            supply_port=pl.when("hit").then(pl.lit("after_coil")).otherwise("supply_port"),
            coil_drop=pl.when(pl.col("hit") & pl.col("with_drop")).then(drop_read).when("hit").then(None)
            .otherwise("coil_drop"),
            reported_tesp=pl.when("hit").then(None).otherwise("reported_tesp"),
        )  # fmt: skip

    edit_visits(drop, edit)


def after_the_coil_unsaid(drop: Path) -> None:
    """Furnaces alone: two sound technicians read the supply after the coil and write "before the coil"."""
    people = pl.read_parquet(drop / "truth" / "technician.parquet").filter(pl.col("kind") == "sound")
    who = people["technician_id"].to_list()[:2]

    def edit(rows: pl.DataFrame) -> pl.DataFrame:
        hit = pl.col("technician_id").is_in(who) & (pl.col("s") - pl.col("coil_true") > 0.03)
        return rows.with_columns(
            s=pl.when(hit).then(pl.col("s") - pl.col("coil_true")).otherwise("s"),
            coil_drop=pl.when(hit).then(None).otherwise("coil_drop"),
            reported_tesp=pl.when(hit).then(None).otherwise("reported_tesp"),
        )

    edit_visits(drop, edit)


def seasons(drop: Path) -> None:
    """The supply static swings with the season (a wet coil, viscous air, closed dampers: whatever it is)."""

    def edit(rows: pl.DataFrame) -> pl.DataFrame:
        day = pl.col("visited_at").str.slice(0, 10).str.to_date(strict=False).dt.ordinal_day()
        swing = SEASON * (2 * 3.141592653589793 * (day - 196) / 365.25).cos()
        return rows.with_columns(
            s=pl.col("s") + swing.fill_null(0), reported_tesp=pl.lit(None, dtype=pl.String)
        )

    edit_visits(drop, edit)


@dataclass(frozen=True)
class Odd:
    """A kind of fleet: what the simulator makes, and what is done to its drop."""

    profile: Profile
    edit: Callable[[Path], object] | None = None


FURNACES = replace(FLEET, fan_coil_share=0.0)
FLEETS = {
    "as made": Odd(FLEET),
    "as made, home technicians": Odd(HOME),
    "hoses exchanged": Odd(HOME, hoses_exchanged),
    "signs reversed": Odd(HOME, signs_reversed),
    "gauge shared by three": Odd(FLEET, shared_gauge),
    "by four of six": Odd(SMALL, lambda drop: shared_gauge(drop, 4)),
    "a branch of fast fans": Odd(FLEET, fast_fans),
    "furnaces": Odd(FURNACES),
    "after the coil": Odd(FURNACES, after_the_coil),
    "after the coil, unsaid": Odd(FURNACES, after_the_coil_unsaid),
    "seasons": Odd(FLEET, seasons),
}
SHARES = VERDICTS | {"steps named": planted.steps_named}


def measure(odd: Odd, seeds: int) -> list[str]:
    """The cells of one kind of fleet."""
    with tempfile.TemporaryDirectory() as folder:
        fleets = []
        for seed in range(100, 100 + seeds):
            drop = Path(folder) / str(seed) / "drop"
            make_fleet(drop, odd.profile, seed)
            if odd.edit is not None:
                odd.edit(drop)
            fleets.append(planted.measured(drop))
        cells = [f"{mean(planted.level_error(f) for f in fleets):.4f}"]
        errors = [e for f in fleets for e in planted.corrected_errors(f)]
        cells.append(f"{sqrt(mean(e * e for e in errors)):.4f}" if errors else "none")
        cells += [cell(counted, fleets) for counted in SHARES.values()]
    return cells


def main() -> None:
    """Print the table, a column a kind of fleet."""
    seeds = int(sys.argv[1]) if len(sys.argv) > 1 else 3
    asked = sys.argv[2:] or list(FLEETS)
    names = ["median error of the level, in. w.c.", "root mean square error of corrected levels", *SHARES]
    columns = []
    for name in asked:
        columns.append(measure(FLEETS[name], seeds))
        sys.stderr.write(f"{name}: {', '.join(columns[-1])}\n")
    out = sys.stdout
    out.write(f"| {seeds} seeds each | " + " | ".join(asked) + " |\n" + "|---" * (len(asked) + 1) + "|\n")
    for i, name in enumerate(names):
        out.write(f"| {name} | " + " | ".join(column[i] for column in columns) + " |\n")


if __name__ == "__main__":
    main()
