"""A stretch of visits as the rows of the visits table and as the rows of the planted truth."""

from __future__ import annotations

import numpy as np
import polars as pl

from pipeline.simulate.fans import TAPS, Bools, Floats, Ints
from pipeline.simulate.profile import Profile
from pipeline.simulate.readings import Readings
from pipeline.simulate.slips import CODE, SLIPS, Drawn
from pipeline.simulate.states import State
from pipeline.simulate.tables import words
from pipeline.simulate.units import Units
from pipeline.simulate.visits import Visits

NOTES = (
    "filter changed after the test",
    "return grille behind sofa",
    "hot day",
    'owner said "too loud"',
    "coil, dusty",
)
TIME_FORMAT = "%Y-%m-%dT%H:%M:%S"


def visit_rows(
    profile: Profile,
    units: Units,
    visits: Visits,
    drawn: Drawn,
    state: State,
    readings: Readings,
    names: dict[str, pl.Series],
    rng: np.random.Generator,
) -> pl.DataFrame:
    """The contract's columns, numbers as text with the decimals that were written."""
    n, slip = len(visits), drawn.slip
    visited, zeroed = _times(units, visits, drawn, rng)
    unknown = rng.random(n) < profile.condition_unknown_share
    filter_word = _condition(drawn.conditions.filter != 1, unknown)
    tap_empty = (rng.random(n) < profile.tap_empty_share) & (units.work_tap_shift[visits.unit] == 0)
    airflow_measured = rng.random(n) < profile.airflow_measured_share
    airflow = np.where(airflow_measured, np.rint(state.airflow_cfm * rng.normal(1.0, 0.03, n)), np.nan)
    watts = np.where(airflow_measured, np.rint(state.power_w * rng.normal(1.0, 0.02, n)), np.nan)
    note = np.where(rng.random(n) < profile.note_share, rng.integers(0, len(NOTES), n), -1)
    frame = pl.DataFrame(
        {
            "visit_id": names["visit"],
            "site_id": names["site"].gather(units.site[visits.unit]),
            "equipment_id": names["equipment"].gather(visits.unit),
            "technician_id": names["technician"].gather(visits.technician),
            "instrument_id": names["instrument"].gather(visits.gauge),
            "visited_at": stamps(visited, profile.zone),
            "mode": words(("cooling", "heating"), visits.heating.astype(np.int64)),
            "blower_stage": words(("high", "low"), drawn.conditions.low_stage.astype(np.int64)),
            "tap": words(TAPS, np.where(tap_empty, -1, state.tap)),
            "zeroed_at": stamps(zeroed, profile.zone, drawn.zero_time),
            "zero_return": _numbers(readings.zero_return),
            "zero_supply": _numbers(readings.zero_supply),
            "return_port": words(("after_filter", "before_filter"), readings.before_filter.astype(np.int64)),
            "supply_port": words(("before_coil", "after_coil"), readings.after_coil.astype(np.int64)),
            "return_static": _numbers(readings.return_static),
            "supply_static": _numbers(readings.supply_static),
            "filter_drop": _numbers(readings.filter_drop),
            "coil_drop": _numbers(readings.coil_drop),
            "reported_tesp": _numbers(readings.reported),
            "pressure_unit": words(
                ("inwc", "pa", "mmwc"), np.where(drawn.unit_word == 3, -1, drawn.unit_word)
            ),
            "return_location": words(("straight_run", "near_turn"), (drawn.near_turn == 1).astype(np.int64)),
            "supply_location": words(("straight_run", "near_turn"), (drawn.near_turn == 2).astype(np.int64)),
            "probe_kind": words(("static_tip", "straight_tube"), drawn.straight_tube.astype(np.int64)),
            "filter_condition": filter_word,
            "coil_condition": _condition(drawn.conditions.coil != 1, unknown),
            "blower_condition": _condition(drawn.conditions.blower != 1, unknown),
            "registers": words(("open", "some_closed"), (drawn.conditions.supply != 1).astype(np.int64)),
            "holes_plugged": words(("true", "false"), drawn.holes_open.astype(np.int64)),
            "airflow_cfm": _numbers(airflow),
            "motor_power_w": _numbers(watts),
            "note": words(NOTES, note),
        }
    )
    return _unreadable(frame, slip)


def truth_rows(
    units: Units,
    visits: Visits,
    drawn: Drawn,
    readings: Readings,
    as_found: State,
    like_new: State,
    split: tuple[Floats, ...],
    names: dict[str, pl.Series],
) -> pl.DataFrame:
    """What is true about each visit: pressures at the right ports, causes, slip, zero, hidden shift."""
    worn = drawn.conditions.any()
    sound = (drawn.slip == 0) & drawn.zero_recorded & (np.abs(drawn.hidden).sum(axis=1) == 0)
    return pl.DataFrame(
        {
            "visit_id": names["visit"],
            "equipment_id": names["equipment"].gather(visits.unit),
            "technician_id": names["technician"].gather(visits.technician),
            "instrument_id": names["instrument"].gather(visits.gauge),
            "mode": words(("cooling", "heating"), visits.heating.astype(np.int64)),
            "visited_on": pl.Series(visits.day).cast(pl.Date),
            "segment": (visits.day > units.work_day[visits.unit]).astype(np.int64),
            "slip": words(SLIPS, drawn.slip),
            "sound": sound,
            "like_new": ~worn,
            "return_inwc": as_found.return_inwc,
            "supply_inwc": as_found.supply_inwc,
            "tesp_inwc": as_found.tesp_inwc,
            "like_new_tesp_inwc": like_new.tesp_inwc,
            "airflow_cfm": as_found.airflow_cfm,
            "power_w": as_found.power_w,
            "filter_drop_inwc": as_found.filter_drop,
            "coil_drop_inwc": as_found.coil_drop,
            "return_restriction_inwc": split[0],
            "supply_restriction_inwc": split[1],
            "airflow_setting_inwc": pl.Series(split[2]).fill_nan(None),
            "airflow_ratio": pl.Series(split[3]).fill_nan(None),
            "zero_recorded": drawn.zero_recorded,
            "zero_return_inwc": readings.true_zero[:, 0],
            "zero_supply_inwc": readings.true_zero[:, 1],
            "hidden_return_inwc": drawn.hidden[:, 0],
            "hidden_supply_inwc": drawn.hidden[:, 1],
            "outlier_return_inwc": readings.outlier[:, 0],
            "outlier_supply_inwc": readings.outlier[:, 1],
        }
    )


def stamps(seconds: Ints, zone: str, known: Bools | None = None) -> pl.Series:
    """Local seconds since 1970 as ISO 8601 text with the zone's UTC offset; empty where not known."""
    local = pl.from_epoch(pl.Series("at", seconds), time_unit="s")
    frame = pl.DataFrame({"local": local, "known": np.ones(len(seconds), bool) if known is None else known})
    aware = pl.col("local").dt.replace_time_zone(zone, ambiguous="earliest", non_existent="null")
    offset_h = (aware.dt.base_utc_offset() + aware.dt.dst_offset()).dt.total_hours()
    offset = pl.when(offset_h < 0).then(pl.lit("-")).otherwise(pl.lit("+")) + offset_h.abs().cast(
        pl.String
    ).str.zfill(2)
    text = pl.col("local").dt.to_string(TIME_FORMAT) + offset + ":00"
    return frame.select(pl.when("known").then(text)).to_series()


def _times(units: Units, visits: Visits, drawn: Drawn, rng: np.random.Generator) -> tuple[Ints, Ints]:
    """(visited, zeroed) in local seconds since 1970, with the slips of dates in them."""
    n, slip = len(visits), drawn.slip
    visited = visits.day.astype(np.int64) * 86400 + visits.second
    room = np.minimum(np.where(np.isnan(visits.gap_s), 3600.0, visits.gap_s), 2200.0)
    before = np.rint(room * rng.uniform(0.05, 0.7, n))
    between = visits.gap_s + 300.0  # zeroed before the previous visit of the day, none since
    long_ago = rng.uniform(15000.0, 25000.0, n)
    stale = np.where(np.nan_to_num(between, nan=1e9) < 13000.0, np.nan_to_num(between), long_ago)
    before = np.where(slip == CODE["zero_stale"], np.rint(stale), before)
    before = np.where(slip == CODE["zero_after_reading"], -np.rint(rng.uniform(60.0, 600.0, n)), before)
    installed = units.installed_day[visits.unit]
    early = (installed - 40 - rng.integers(0, 600, n)) * 86400 + visits.second
    late = visited + rng.integers(8, 11, n) * 365 * 86400 + 86400
    moved = np.where(
        slip == CODE["visit_in_future"], late, np.where(slip == CODE["visit_before_install"], early, visited)
    )
    with_zero = rng.random(n) < 0.5  # the year was typed wrong once, or in both stamps
    zeroed = np.where(with_zero | (slip == CODE["visit_before_install"]), moved, visited) - before.astype(
        np.int64
    )
    return moved.astype(np.int64), zeroed.astype(np.int64)


def _numbers(values: Floats) -> pl.Series:
    return pl.Series(values).fill_nan(None).cast(pl.String)


def _condition(dirty: Bools, unknown: Bools) -> pl.Series:
    return words(("clean", "dirty"), np.where(unknown & ~dirty, -1, dirty.astype(np.int64)))


def _unreadable(frame: pl.DataFrame, slip: Ints) -> pl.DataFrame:
    """Rows that cannot be understood: a figure with a letter in it, a unit that is on no list."""
    return frame.with_columns(pl.Series("_slip", slip)).with_columns(
        pl.when(pl.col("_slip") == CODE["bad_number"])
        .then(pl.lit("0.5o"))
        .otherwise("supply_static")
        .alias("supply_static"),
        pl.when(pl.col("_slip") == CODE["equipment_unknown"])
        .then(pl.lit("E99999X"))
        .otherwise("equipment_id")
        .alias("equipment_id"),
    ).drop("_slip")  # fmt: skip
