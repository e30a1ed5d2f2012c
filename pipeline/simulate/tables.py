"""The fleet's small input tables as frames with the contract's columns, and its ids."""

from __future__ import annotations

import numpy as np
import polars as pl

from pipeline.simulate.crew import Crew
from pipeline.simulate.fans import MOTORS, STEP_INWC, TAPS, FanBank, Floats, Ints
from pipeline.simulate.profile import Profile
from pipeline.simulate.units import NEVER, Units
from pipeline.simulate.works import Works

LABELS = (
    '"Loft", rear <b>&</b> side',
    "O'Dell Court; flat 3",
    "Annex =1+1",
    "Hall – Nord 🏠",
    "Mill, the old",
)


def ids(letter: str, n: int, digits: int = 5) -> pl.Series:
    """S00000, S00001, ... as a series of text."""
    return numbered(letter, 0, n, digits)


def numbered(letter: str, first: int, end: int, digits: int) -> pl.Series:
    """The letter and each number from `first` to before `end`, filled up with zeros."""
    number = pl.int_range(first, end, eager=True).cast(pl.String)
    return (letter + number.str.zfill(digits)).rename("")


def words(choices: tuple[str, ...], code: Ints) -> pl.Series:
    """The word of each code; a negative code is an empty cell."""
    table = pl.Series([*choices, None], dtype=pl.String)
    return table.gather(np.where(code < 0, len(choices), code))


def dates(day: Ints) -> pl.Series:
    """Days since 1970 as dates; NEVER is an empty cell."""
    stamps = pl.Series(np.where(day >= NEVER, 0, day).astype(np.int32)).cast(pl.Date)
    frame = pl.DataFrame({"day": stamps, "known": day < NEVER})
    return frame.select(pl.when("known").then("day")).to_series()


def optional(values: Floats, known: np.ndarray) -> pl.Series:
    """Numbers, with empty cells where not known."""
    return pl.Series(np.where(known, values, np.nan)).fill_nan(None)


def sites_frame(profile: Profile, branch: Ints, elevation_ft: Floats) -> pl.DataFrame:
    n = profile.n_sites
    labels = [LABELS[(i // 41) % len(LABELS)] if i % 41 == 0 else f"Unit {i}" for i in range(n)]
    return pl.DataFrame(
        {
            "site_id": ids("S", n),
            "branch": words(profile.branches, branch),
            "site_label": labels,
            "elevation_ft": elevation_ft.astype(np.int64),
        }
    )


def equipment_frame(units: Units, fans: FanBank) -> pl.DataFrame:
    n = len(units)
    table = pl.Series([*fans.ids, None], dtype=pl.String).gather(
        np.where(units.table_known, units.fan, len(fans.ids))
    )
    taps = {mode: np.where(units.table_known, tap, -1) for mode, tap in _taps(units).items()}
    return pl.DataFrame(
        {
            "equipment_id": ids("E", n),
            "site_id": ids("S", int(units.site.max()) + 1).gather(units.site),
            "equipment_kind": words(("furnace", "fan_coil"), units.fan_coil.astype(np.int64)),
            "installed_on": dates(units.installed_day),
            "retired_on": dates(units.retired_day),
            "rated_tesp_inwc": units.rated,
            "nominal_tons": units.tons,
            "motor_kind": words(MOTORS, units.motor),
            "design_cooling_cfm": optional(units.design_cooling, units.design_known),
            "design_heating_cfm": optional(units.design_heating, units.design_known),
            "design_return_inwc": optional(units.design_return, units.budget_known),
            "design_supply_inwc": optional(units.design_supply, units.budget_known),
            "filter_in_rating": units.filter_in_rating,
            "coil_in_rating": units.coil_in_rating,
            "blower_table_id": table,
            "cooling_tap": words(TAPS, taps["cooling"]),
            "heating_tap": words(TAPS, taps["heating"]),
        }
    )


def _taps(units: Units) -> dict[str, Ints]:
    return {"cooling": units.cooling_tap, "heating": units.heating_tap}


def blower_frame(fans: FanBank) -> pl.DataFrame:
    """Every printed point of every table and tap."""
    row, column = np.nonzero(np.arange(fans.cfm.shape[1])[None, :] < fans.points[:, None])
    return pl.DataFrame(
        {
            "blower_table_id": pl.Series(fans.ids, dtype=pl.String).gather(row // len(TAPS)),
            "tap": words(TAPS, row % len(TAPS)),
            "external_static_inwc": np.round(STEP_INWC * (column + 1), 2),
            "airflow_cfm": fans.cfm[row, column],
            "power_w": fans.watts[row, column],
        }
    )


def technicians_frame(profile: Profile, crew: Crew) -> pl.DataFrame:
    return pl.DataFrame(
        {
            "technician_id": ids("T", profile.n_technicians, 3),
            "branch": words(profile.branches, crew.branch),
            "trained_on": dates(np.where(crew.trained, crew.trained_day, NEVER)),
        }
    )


def instruments_frame(profile: Profile, crew: Crew) -> pl.DataFrame:
    """Most gauges were calibrated within the last year before the end; one in fourteen not since before the start."""
    n = len(crew.gauge_names)
    start = np.datetime64(profile.start_on, "D").astype(int)
    number = np.arange(n)
    lately = start + round(365.25 * profile.years) - 20 - number * 37 % 340
    return pl.DataFrame(
        {
            "instrument_id": list(crew.gauge_names),
            "port_style": words(("paired_single_port", "dual_port"), crew.gauge_dual.astype(np.int64)),
            "accuracy_pct_of_reading": np.ones(n, np.int64),
            "accuracy_floor_inwc": np.full(n, 0.01),
            "resolution_inwc": np.full(n, 0.001),
            "calibrated_on": dates(np.where(number % 14 == 9, start - 137, lately)),
        }
    )


def work_frame(units: Units, works: Works) -> pl.DataFrame:
    return pl.DataFrame(
        {
            "work_id": ids("W", len(works.unit)),
            "equipment_id": ids("E", len(units)).gather(works.unit),
            "done_on": dates(works.day),
            "work_kind": pl.Series(works.kind, dtype=pl.String),
            "cost": works.cost,
        }
    ).filter(pl.Series(works.recorded))
