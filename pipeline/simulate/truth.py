"""The planted truth as tables: per unit, mode and segment; per technician; per gauge in hand; per work."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import polars as pl

from pipeline.simulate.crew import KINDS, PAPER
from pipeline.simulate.fans import Bools, Floats, Ints
from pipeline.simulate.states import Conditions, State, causes, state_at
from pipeline.simulate.tables import ids, words
from pipeline.simulate.units import CAUSES, NEVER

if TYPE_CHECKING:
    from pipeline.simulate.make import Fleet

SIDES = ("return", "supply", "airflow_setting")
KEYS = ["equipment_id", "mode", "segment"]


def usable_visits(planted: pl.DataFrame) -> pl.DataFrame:
    """Counts of like-new visits that can be measured, per unit, mode and segment, with first and last day."""
    good = planted.filter(pl.col("like_new") & pl.col("sound"))
    return good.group_by(KEYS).agg(
        pl.len().alias("n_like_new"),
        pl.col("visited_on").min().alias("first_on"),
        pl.col("visited_on").max().alias("last_on"),
        pl.col("like_new_tesp_inwc").sum().alias("tesp_sum"),
    )


def merge_usable(parts: list[pl.DataFrame]) -> pl.DataFrame:
    """The counts of all files together."""
    return pl.concat(parts).group_by(KEYS).agg(
        pl.col("n_like_new", "tesp_sum").sum(), pl.col("first_on").min(), pl.col("last_on").max()
    )  # fmt: skip


def write_truth(folder: Path, fleet: Fleet, usable: pl.DataFrame) -> None:
    """equipment, technician, technician_instrument and work as Parquet files."""
    equipment_truth(fleet, usable).write_parquet(folder / "equipment.parquet")
    technician_truth(fleet).write_parquet(folder / "technician.parquet")
    gauge_truth(fleet).write_parquet(folder / "technician_instrument.parquet")
    work_truth(fleet).write_parquet(folder / "work.parquet")


def equipment_truth(fleet: Fleet, usable: pl.DataFrame) -> pl.DataFrame:
    """A row per unit, mode and segment (0 before the work, 1 after); `last` marks the segment that is judged.

    Levels are like new, at the middle of the segment; `growth_inwc_per_year` is the mean slope over it.
    `true_chronic` follows the contract's rule with the true level and the sound like-new visits.
    """
    units, profile = fleet.units, fleet.profile
    start = int(np.datetime64(profile.start_on, "D").astype(int))
    end = start + round(profile.years * 365.25)
    has_work = units.work_day != NEVER
    unit = np.concatenate([np.arange(len(units)), np.flatnonzero(has_work)])
    segment = np.concatenate([np.zeros(len(units), np.int64), np.ones(int(has_work.sum()), np.int64)])
    unit, segment = np.repeat(unit, 2), np.repeat(segment, 2)
    heating = np.arange(len(unit)) % 2 == 1
    begin = np.maximum(
        np.where(segment == 1, units.work_day[unit] + 1, start), np.minimum(units.installed_day[unit], end)
    )
    stop = np.minimum(
        np.where(segment == 1, end, np.minimum(units.work_day[unit], end)), units.retired_day[unit]
    )
    middle = (begin + stop) // 2
    level = _like_new(fleet, unit, middle, heating)
    years = np.maximum(stop - begin, 1) / 365.25
    slope = (
        _like_new(fleet, unit, stop, heating).tesp_inwc - _like_new(fleet, unit, begin, heating).tesp_inwc
    ) / years
    slope = np.where(units.grows[unit] > 0, slope, 0.0)
    frame = _equipment_rows(fleet, unit, segment, heating, level, slope, has_work)
    frame = frame.join(usable, on=KEYS, how="left").with_columns(pl.col("n_like_new").fill_null(0))
    span = (pl.col("last_on") - pl.col("first_on")).dt.total_days().fill_null(0)
    frame = frame.with_columns(
        span.alias("span_days"), (pl.col("tesp_sum") / pl.col("n_like_new")).alias("mean_tesp_inwc")
    )
    chronic = (pl.col("excess_inwc") > 0) & (pl.col("n_like_new") >= 3) & (pl.col("span_days") >= 90)
    return frame.drop("tesp_sum").with_columns(chronic.alias("true_chronic")).sort(KEYS)


def _like_new(fleet: Fleet, unit: Ints, day: Ints, heating: Bools) -> State:
    return state_at(fleet.units, fleet.fans, unit, day, heating, Conditions.like_new(len(unit)))


def _equipment_rows(
    fleet: Fleet, unit: Ints, segment: Ints, heating: Bools, level: State, slope: Floats, has_work: Bools
) -> pl.DataFrame:
    units = fleet.units
    split = causes(units, unit, heating, level)
    excess = level.tesp_inwc - units.rated[unit]
    stacked = np.column_stack([split[0], split[1], np.nan_to_num(split[2], nan=-np.inf)])
    ordered = np.sort(stacked, axis=1)
    side = np.where(excess > 0, np.argmax(stacked, axis=1), -1)
    return pl.DataFrame(
        {
            "equipment_id": ids("E", len(units)).gather(unit),
            "site_id": ids("S", fleet.profile.n_sites).gather(units.site[unit]),
            "mode": words(("cooling", "heating"), heating.astype(np.int64)),
            "segment": segment,
            "last": segment == has_work[unit],
            "rated_tesp_inwc": units.rated[unit],
            "tesp_inwc": level.tesp_inwc,
            "return_inwc": level.return_inwc,
            "supply_inwc": level.supply_inwc,
            "airflow_cfm": level.airflow_cfm,
            "power_w": level.power_w,
            "airflow_ratio": pl.Series(split[3]).fill_nan(None),
            "excess_inwc": excess,
            "return_restriction_inwc": split[0],
            "supply_restriction_inwc": split[1],
            "airflow_setting_inwc": pl.Series(split[2]).fill_nan(None),
            "problem_side": words(SIDES, side),
            "side_margin_inwc": ordered[:, 2] - ordered[:, 1],
            "planned_cause": words(CAUSES, units.cause[unit]),
            "growth_inwc_per_year": slope,
            "growing_side": words(("none", "return", "supply"), units.grows[unit]),
            "scatter": units.scatter[unit],
        }
    )


def technician_truth(fleet: Fleet) -> pl.DataFrame:
    """A row per technician: kind, true rates, hidden offset per port in in. w.c. and its share of visits."""
    crew = fleet.crew
    return pl.DataFrame(
        {
            "technician_id": ids("T", fleet.profile.n_technicians, 3),
            "kind": words(KINDS, crew.kind),
            "skip_rate": crew.skip_rate,
            "wrong_port_rate": crew.wrong_port_rate,
            "hidden_return_inwc": crew.hidden_offset[:, 0],
            "hidden_supply_inwc": crew.hidden_offset[:, 1],
            "hidden_share": np.where(crew.kind == PAPER, fleet.profile.paper_share, 0.0),
            "n_visits": np.bincount(fleet.visits.technician, minlength=fleet.profile.n_technicians),
        }
    )


def gauge_truth(fleet: Fleet) -> pl.DataFrame:
    """A row per technician and gauge with visits: what shifts the readings of the pair, and whose it is."""
    crew, n_gauges = fleet.crew, len(fleet.crew.gauge_names)
    pair = fleet.visits.technician.astype(np.int64) * n_gauges + fleet.visits.gauge
    distinct, n_visits = np.unique(pair, return_counts=True)
    technician, gauge = distinct // n_gauges, distinct % n_gauges
    offset = crew.hidden_offset[technician] + crew.gauge_offset[gauge]
    return pl.DataFrame(
        {
            "technician_id": ids("T", fleet.profile.n_technicians, 3).gather(technician),
            "instrument_id": pl.Series(crew.gauge_names, dtype=pl.String).gather(gauge),
            "n_visits": n_visits,
            "hidden_return_inwc": offset[:, 0],
            "hidden_supply_inwc": offset[:, 1],
            "from_technician": crew.kind[technician] == PAPER,
            "from_gauge": np.abs(crew.gauge_offset[gauge]).sum(axis=1) > 0,
            "gain_return": crew.gauge_gain[gauge, 0],
            "gain_supply": crew.gauge_gain[gauge, 1],
            "drift_per_year": crew.gauge_drift_per_year[gauge],
        }
    )


def work_truth(fleet: Fleet) -> pl.DataFrame:
    """A row per work: true shift of the like-new TESP by mode on its day in in. w.c. (0 for shams)."""
    works, units = fleet.works, fleet.units
    n = len(works.unit)
    shift = {}
    for name, heating in (("cooling", np.zeros(n, bool)), ("heating", np.ones(n, bool))):
        after = _like_new(fleet, works.unit, works.day + 1, heating).tesp_inwc
        shift[name] = np.where(
            works.plain, 0.0, after - _like_new(fleet, works.unit, works.day, heating).tesp_inwc
        )
        shift[name] = np.where(works.day == units.work_day[works.unit], shift[name], 0.0)
    return pl.DataFrame(
        {
            "work_id": ids("W", n),
            "equipment_id": ids("E", len(units)).gather(works.unit),
            "work_kind": pl.Series(works.kind, dtype=pl.String),
            "sham": works.sham,
            "triggered": works.triggered,
            "recorded": works.recorded,
            "starts_segment": ~works.plain,
            "shift_cooling_inwc": shift["cooling"],
            "shift_heating_inwc": shift["heating"],
        }
    )
