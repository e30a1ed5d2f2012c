"""Readings copied from the technician's previous visit of the day instead of measured."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from pipeline.simulate.fans import Bools, Floats, Ints
from pipeline.simulate.profile import Profile
from pipeline.simulate.readings import Readings
from pipeline.simulate.slips import CODE, Drawn
from pipeline.simulate.visits import Visits

COPIED = ("return_static", "supply_static", "reported")


def repeat_readings(
    profile: Profile, visits: Visits, drawn: Drawn, readings: Readings, rng: np.random.Generator
) -> tuple[Readings, Drawn]:
    """Copy readings by the profile's rate, where a visit without a slip follows a sound one at another site.

    Only readings with three written decimals are copied: with fewer, equal figures prove nothing. Where too
    few visits can be a copy, the rate stays below the one asked for.
    """
    previous = _previous_of_day(visits)
    chosen = _eligible(visits, drawn, readings, previous)
    rate = profile.slips.readings_repeated / max(float(chosen.mean()) if len(chosen) else 0.0, 1e-9)
    chosen = chosen & (rng.random(len(visits)) < min(rate, 0.5))
    chosen &= ~chosen[previous]  # a copy of a copy would be a copy of another visit
    copied = {
        name: np.where(chosen, getattr(readings, name)[previous], getattr(readings, name)) for name in COPIED
    }
    return replace(readings, **copied), replace(
        drawn, slip=np.where(chosen, CODE["readings_repeated"], drawn.slip)
    )


def _previous_of_day(visits: Visits) -> Ints:
    """Index of the same technician's previous visit that day, or the visit itself."""
    order = np.lexsort((visits.second, visits.day, visits.technician))
    previous = np.arange(len(visits))
    before, after = order[:-1], order[1:]
    same = (visits.technician[before] == visits.technician[after]) & (visits.day[before] == visits.day[after])
    previous[after[same]] = before[same]
    return previous


def _eligible(visits: Visits, drawn: Drawn, readings: Readings, previous: Ints) -> Bools:
    sound = (drawn.slip == 0) & (readings.figure_unit == 0)
    sound &= _three_decimals(readings.return_static) & _three_decimals(readings.supply_static)
    elsewhere = visits.unit != visits.unit[previous]
    return np.asarray((drawn.slip == 0) & (readings.figure_unit == 0) & sound[previous] & elsewhere)


def _three_decimals(values: Floats) -> Bools:
    return np.asarray(np.rint(values * 1000.0) % 10 != 0)
