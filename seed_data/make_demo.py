"""Make the demo drop and its truth: `python -m seed_data.make_demo DIR` writes demo/, demo_truth.csv there.

The committed files in this folder were written so; a test makes them again and compares.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import polars as pl

from pipeline.simulate import tables, truth
from pipeline.simulate.make import Fleet, clerical, make_stretch
from seed_data import mess, story
from seed_data.demo_fleet import plan_demo

EXPECTED_OF_PERSON = ("zeroes", "skips_zero", "zero_doubtful", "wrong_ports")


def make_demo(folder: Path, seed: int = story.SEED) -> None:
    """Write the drop into `folder`/demo and the planted truth into `folder`/demo_truth.csv."""
    plan_seed, read_seed, mess_seed = np.random.SeedSequence(seed).spawn(3)
    fleet = plan_demo(np.random.default_rng(plan_seed))
    rows, planted = make_stretch(fleet, 0, len(fleet.visits), np.random.default_rng(read_seed))
    rows = rows.with_columns(planted["visited_on"].dt.year().alias("year"))
    rows, corrected = clerical(rows, fleet.profile, np.random.default_rng(mess_seed))
    drop = folder / "demo"
    drop.mkdir(parents=True, exist_ok=True)
    mess.write_tables(drop, {name: mess.short_ids(frame) for name, frame in _small_tables(fleet).items()})
    mess.write_visits(drop, mess.short_ids(rows), mess.short_ids(corrected))
    demo_truth(fleet, planted).write_csv(folder / "demo_truth.csv", float_precision=4)


def _small_tables(fleet: Fleet) -> dict[str, pl.DataFrame]:
    profile = fleet.profile
    return {
        "sites": tables.sites_frame(profile, fleet.branch, fleet.elevation_ft),
        "equipment": tables.equipment_frame(fleet.units, fleet.fans),
        "blower_tables": tables.blower_frame(fleet.fans),
        "technicians": tables.technicians_frame(profile, fleet.crew),
        "instruments": tables.instruments_frame(profile, fleet.crew),
        "work": tables.work_frame(fleet.units, fleet.works),
    }


def demo_truth(fleet: Fleet, planted: pl.DataFrame) -> pl.DataFrame:
    """What was planted, a row per unit and mode (after the last work), technician, and visit with a slip."""
    return pl.concat([_units(fleet, planted), _people(fleet), _slips(planted)], how="diagonal")


def _units(fleet: Fleet, planted: pl.DataFrame) -> pl.DataFrame:
    frame = mess.short_ids(truth.equipment_truth(fleet, truth.usable_visits(planted)).filter(pl.col("last")))
    expected = pl.Series([*(p.expectation for p in story.PLACES), "within_rating"], dtype=pl.String)
    number = frame["equipment_id"].str.slice(1).cast(pl.Int64) - 1
    return frame.select(
        pl.lit("equipment").alias("subject"),
        pl.col("equipment_id").alias("id"),
        "site_id",
        "mode",
        expected.gather(number).alias("expectation"),
        pl.col("tesp_inwc").alias("level_inwc"),
        "excess_inwc",
        "problem_side",
        "true_chronic",
        "growth_inwc_per_year",
        "n_like_new",
    )


def _people(fleet: Fleet) -> pl.DataFrame:
    frame = mess.short_ids(truth.technician_truth(fleet))
    few = pl.Series([p.visits < 20 for p in story.CREW])
    expected = pl.Series([EXPECTED_OF_PERSON[p.kind] for p in story.CREW], dtype=pl.String)
    return frame.select(
        pl.lit("technician").alias("subject"),
        pl.col("technician_id").alias("id"),
        pl.when(few).then(pl.lit("too_few_visits")).otherwise(expected).alias("expectation"),
        pl.col("n_visits").cast(pl.Int64),
        "skip_rate",
        "wrong_port_rate",
        "hidden_return_inwc",
        "hidden_supply_inwc",
    )


def _slips(planted: pl.DataFrame) -> pl.DataFrame:
    """Visits with a planted slip; `zero_not_recorded` where that is all that is wrong with the row."""
    wrong = planted.filter((pl.col("slip") != "none") | ~pl.col("zero_recorded"))
    slip = pl.when(pl.col("slip") == "none").then(pl.lit("zero_not_recorded")).otherwise("slip")
    frame = mess.short_ids(wrong.with_columns(slip.alias("expectation")))
    return frame.select(
        pl.lit("visit").alias("subject"),
        pl.col("visit_id").alias("id"),
        "mode",
        "expectation",
        pl.col("tesp_inwc").alias("level_inwc"),
    )


if __name__ == "__main__":
    if len(sys.argv) != 2:
        sys.stderr.write("usage: python -m seed_data.make_demo DIR\n")
        sys.exit(2)
    make_demo(Path(sys.argv[1]))
