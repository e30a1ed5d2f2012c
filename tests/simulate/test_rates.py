"""Slips, habits and shares as often as asked for: counts within four and a half standard deviations."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import polars as pl
import pytest

from pipeline.simulate import Profile, SlipRates, make_fleet
from pipeline.simulate.profile import EXCLUSIVE_SLIPS
from tests.simulate.conftest import PROFILE, Made

# a habit adds to wrong ports; a skipped zero cannot be late, stale or large
SHIFTED_BY_HABIT = {
    "return_port_wrong",
    "supply_port_wrong",
    "zero_after_reading",
    "zero_stale",
    "zero_offset_large",
}


def within(count: int, n: int, rate: float) -> bool:
    """Is the count one that a binomial of that rate gives all but seven times in a million?"""
    return abs(count - n * rate) <= 4.5 * math.sqrt(n * rate * (1 - rate)) + 1e-9


@pytest.mark.parametrize("slip", [s for s in EXCLUSIVE_SLIPS if s not in SHIFTED_BY_HABIT])
def test_exclusive_slips(made: Made, slip: str) -> None:
    count = made.visit.filter(pl.col("slip") == slip).height
    assert within(count, made.visit.height, getattr(PROFILE.slips, slip))


def test_slips_that_need_a_zero(made: Made) -> None:
    zeroed = 1 - made.technician.select(pl.col("skip_rate").dot("n_visits") / pl.col("n_visits").sum()).item()
    for slip, without in (("zero_after_reading", 0.02), ("zero_stale", 0.02), ("zero_offset_large", 0.02)):
        count = made.visit.filter(pl.col("slip") == slip).height
        rate = getattr(PROFILE.slips, slip)
        assert 0.75 * rate * (zeroed - without) < count / made.visit.height < 1.25 * rate


def test_conditions(made: Made) -> None:
    words = {
        "filter_dirty": "filter_condition = 'dirty'",
        "coil_dirty": "coil_condition = 'dirty'",
        "blower_dirty": "blower_condition = 'dirty'",
        "registers_closed": "registers = 'some_closed'",
        "stage_not_high": "blower_stage = 'low'",
        "holes_left_open": "holes_plugged = 'false'",
        "probe_near_turn": "supply_location = 'near_turn' OR return_location = 'near_turn'",
    }
    for name, condition in words.items():
        found = made.rows(
            f"SELECT p.kind = 'careless' AS careless, count(*) AS n, count(*) FILTER ({condition}) AS k "
            "FROM visits JOIN people AS p USING (technician_id) GROUP BY careless ORDER BY careless"
        )
        by_habit = name in ("stage_not_high", "holes_left_open", "probe_near_turn")
        rates = (1.0, PROFILE.careless_factor if by_habit else 1.0)
        for row, factor in zip(found.iter_rows(named=True), rates, strict=True):
            assert within(row["k"], row["n"], getattr(PROFILE.slips, name) * factor), (name, row)


def test_who_skips(made: Made) -> None:
    found = made.rows(
        """
        SELECT technician_id, count(*) AS n, count(*) FILTER (zeroed_at IS NULL AND zero_return IS NULL
            AND zero_supply IS NULL) AS skipped FROM visits GROUP BY technician_id
        """
    ).join(made.technician, on="technician_id")
    for row in found.iter_rows(named=True):
        assert within(row["skipped"], row["n"], row["skip_rate"]), row
    skippers = found.filter(pl.col("kind") == "skipper")
    assert len(skippers) == PROFILE.n_skippers
    assert skippers["skip_rate"].min() >= 0.35
    assert (skippers["n"] - 400).abs().max() < 250
    assert (made.technician["n_visits"] == made.technician.join(found, on="technician_id")["n"]).all()


def test_paper_zeroers_shift_their_readings_and_nobody_else_does(made: Made) -> None:
    hidden = pl.col("hidden_return_inwc").abs() + pl.col("hidden_supply_inwc").abs() > 0
    shares = made.visit.group_by("technician_id").agg(
        hidden.filter(pl.col("zero_recorded")).mean().alias("share"), pl.len().alias("n")
    )
    both = shares.join(made.technician, on="technician_id")
    paper = both.filter(pl.col("kind") == "paper_zeroer")
    assert len(paper) == PROFILE.n_paper_zeroers
    assert paper["share"].min() > 0.75
    largest = pl.max_horizontal(pl.col("hidden_return_inwc").abs(), pl.col("hidden_supply_inwc").abs())
    assert paper.select(largest.min()).item() >= 0.0349
    gauges = pl.read_parquet(made.folder / "truth" / "technician_instrument.parquet")
    with_faulty = gauges.filter("from_gauge")["technician_id"].unique()
    others = both.filter(
        (pl.col("kind") != "paper_zeroer") & ~pl.col("technician_id").is_in(with_faulty.to_list())
    )
    assert others["share"].max() == 0


def test_home_technicians(made: Made) -> None:
    visits = made.visit.join(made.rows("SELECT equipment_id, site_id FROM equipment"), on="equipment_id")
    per_site = visits.group_by("site_id", "technician_id").len().group_by("site_id").agg(
        pl.col("len").max().alias("most"), pl.col("len").sum().alias("n")
    )  # fmt: skip
    assert 0.75 < (per_site["most"].sum() / per_site["n"].sum()) < 0.87


def test_no_slips_at_all(tmp_path: Path) -> None:
    profile = Profile(
        n_sites=40, slips=SlipRates.none(), n_skippers=0, n_paper_zeroers=0, n_wrong_ports=0, outlier_share=0.0,
        one_mode_only=True, missing_design_share=0.0, work_share=0.0, growth_share=0.0, replaced_share=0.0,
    )  # fmt: skip
    make_fleet(tmp_path, profile, 5)
    truth = pl.read_parquet(tmp_path / "truth" / "visit_part*.parquet")
    assert truth["sound"].all()
    assert truth["like_new"].all()
    assert set(truth["mode"]) == {"cooling"}
    assert pl.read_csv(tmp_path / "visits_part3_corrections.csv").is_empty()
    assert pl.read_csv(tmp_path / "equipment.csv")["design_cooling_cfm"].null_count() == 0


def test_scatter_and_noise(tmp_path: Path) -> None:
    """Within a site and mode the sound readings scatter by `noise_sd`, by site up to `scatter_spread` times apart."""
    profile = replace(
        PROFILE, n_sites=60, total_visits=12_000, n_technicians=8, scatter_spread=4.0, noise_sd=0.02, zero_sd=0.0,
        n_skippers=0, n_paper_zeroers=0, n_wrong_ports=0, n_rounders=0, n_faulty_gauges=0, n_drifting_gauges=0,
        slips=SlipRates.none(), outlier_share=0.0, straight_tube_share=0.0, pa_share=0.0, mmwc_share=0.0,
        one_mode_only=True,
    )  # fmt: skip
    make_fleet(tmp_path, profile, 6)
    truth = pl.read_parquet(tmp_path / "truth" / "visit_part*.parquet")
    rows = pl.read_csv(tmp_path / "visits_part[12].csv", infer_schema_length=None)
    error = pl.col("supply_static") - pl.col("return_static") - pl.col("tesp_inwc")
    spread = rows.select("visit_id", "return_static", "supply_static").join(truth, on="visit_id").group_by(
        "equipment_id"
    ).agg(error.std().alias("sd"), pl.len().alias("n"))  # fmt: skip
    scatter = (
        pl.read_parquet(tmp_path / "truth" / "equipment.parquet").select("equipment_id", "scatter").unique()
    )
    both = spread.filter(pl.col("n") > 60).join(scatter, on="equipment_id")
    ratio = (both["sd"] / (0.02 * both["scatter"])).to_numpy()
    assert 0.93 < np.median(ratio) < 1.07
    assert both["scatter"].min() >= 0.5
    assert both["scatter"].max() <= 2.0
    assert both["scatter"].max() / both["scatter"].min() > 3
