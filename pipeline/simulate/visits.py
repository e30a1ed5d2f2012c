"""Who measures which unit when: the visits of a fleet as compact arrays in order of time."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pipeline.simulate.crew import Crew
from pipeline.simulate.fans import Bools, Floats, Ints
from pipeline.simulate.profile import Profile
from pipeline.simulate.units import NEVER, Units

DAY_STARTS_S = 27000  # 07:30 local time
DAY_LENGTH_S = 36000


@dataclass(frozen=True)
class Visits:
    """`second` of the local day; `gap_s` since the technician's previous visit that day (NaN: the first one).

    `noise` has the columns return, supply in in. w.c.; `dirt` multiplies the filter's resistance, 1 is clean.
    """

    unit: NDArray[np.int32]
    technician: NDArray[np.int32]
    gauge: NDArray[np.int32]
    day: NDArray[np.int32]
    second: NDArray[np.int32]
    gap_s: NDArray[np.float32]
    heating: Bools
    noise: NDArray[np.float32]
    dirt: NDArray[np.float32]

    def __len__(self) -> int:
        return len(self.unit)


def plan_visits(
    profile: Profile,
    units: Units,
    crew: Crew,
    site_branch: Ints,
    rng: np.random.Generator,
    slot: Ints | None = None,
) -> Visits:
    """All visits by time; nobody is at two places at once. `slot`: where each visit goes, else by chance."""
    n = profile.n_visits
    start = int(np.datetime64(profile.start_on, "D").astype(int))
    day = start + rng.integers(0, max(int(profile.years * 365.25), 1), n)
    day = np.where((day + 3) % 7 == 6, day - 1, day)  # day 0 was a Thursday; nobody works on Sundays
    slot = rng.integers(0, units.slot.max() + 1, n) if slot is None else slot
    unit = _unit_on_day(units, slot, day)
    site = units.site[unit]
    technician = _technicians(profile, crew, site_branch, site, rng)
    second, gap = _times(day, technician, rng)
    heating = _heating(profile, day, rng)
    dirt = np.where(rng.random(n) < profile.slips.filter_dirty, rng.uniform(*profile.dirty_factor, n), 1.0)
    sd = profile.noise_sd / np.sqrt(2.0) * units.scatter[unit]
    noise = rng.standard_normal((n, 2)) * sd[:, None]
    order = np.lexsort((technician, second, day))
    return Visits(
        unit=unit[order].astype(np.int32),
        technician=technician[order].astype(np.int32),
        gauge=_gauge_of(profile, crew, technician, rng)[order].astype(np.int32),
        day=day[order].astype(np.int32),
        second=second[order].astype(np.int32),
        gap_s=gap[order].astype(np.float32),
        heating=heating[order],
        noise=noise[order].astype(np.float32),
        dirt=dirt[order].astype(np.float32),
    )


def _unit_on_day(units: Units, slot: Ints, day: Ints) -> Ints:
    """The unit that stands in the slot on that day: units are listed first generation first."""
    n_slots = int(units.slot.max()) + 1
    successor = np.full(n_slots, -1)
    later = np.arange(n_slots, len(units))
    successor[units.slot[later]] = later
    retired = units.retired_day[:n_slots]
    gone = (retired[slot] != NEVER) & (day >= retired[slot]) & (successor[slot] >= 0)
    return np.where(gone, successor[slot], slot)


def _technicians(
    profile: Profile, crew: Crew, site_branch: Ints, site: Ints, rng: np.random.Generator
) -> Ints:
    """By chance, in proportion to the visits planned for each; a site's home technician comes more often."""
    home = _draw_technician(crew, site_branch, rng)
    branch = site_branch[site]
    stray = rng.random(len(site)) < profile.cross_branch_share
    branch = np.where(stray, rng.integers(0, len(profile.branches), len(site)), branch)
    anyone = _draw_technician(crew, branch, rng)
    return np.where(rng.random(len(site)) < profile.home_technician_share, home[site], anyone)


def _draw_technician(crew: Crew, branch: Ints, rng: np.random.Generator) -> Ints:
    """A technician of each branch asked for (of any, where a branch has none)."""
    draw = rng.random(len(branch))
    result = np.zeros(len(branch), np.int64)
    for b in np.unique(branch):
        members = np.flatnonzero(crew.branch == b)
        members = members if len(members) else np.arange(len(crew.branch))
        edges = np.cumsum(crew.expected_visits[members])
        asked = branch == b
        result[asked] = members[
            np.minimum(np.searchsorted(edges / edges[-1], draw[asked], "right"), len(members) - 1)
        ]
    return result


def _gauge_of(profile: Profile, crew: Crew, technician: Ints, rng: np.random.Generator) -> Ints:
    n = len(technician)
    gauge: Ints = crew.own_gauges[technician, rng.integers(0, 2, n)]
    if len(crew.pool_gauges) == 0:
        return gauge
    from_pool = rng.random(n) < profile.pool_gauge_share
    pooled: Ints = rng.choice(crew.pool_gauges, n)
    return np.where(from_pool, pooled, gauge)


def _times(day: Ints, technician: Ints, rng: np.random.Generator) -> tuple[Ints, Floats]:
    """(second of the day, seconds since the same technician's previous visit that day)."""
    n = len(day)
    order = np.lexsort((technician, day))
    key = day[order] * (int(technician.max(initial=0)) + 1) + technician[order]
    starts = np.flatnonzero(np.r_[True, key[1:] != key[:-1]]) if n else np.zeros(0, np.int64)
    lengths = np.diff(np.r_[starts, n])
    count = np.repeat(lengths, lengths)
    rank = np.arange(n) - np.repeat(starts, lengths)
    in_order = np.floor(
        DAY_STARTS_S + DAY_LENGTH_S * (rank + rng.uniform(0.1, 0.6, n)) / np.maximum(count, 1)
    )
    step = np.r_[np.nan, np.diff(in_order)] if n else in_order
    second, gap = np.empty(n), np.empty(n)
    second[order], gap[order] = in_order, np.where(rank == 0, np.nan, step)
    return second.astype(np.int64), gap


def _heating(profile: Profile, day: Ints, rng: np.random.Generator) -> Bools:
    """Mostly heating in winter and cooling in summer, `heating_share` over the year."""
    share = 0.0 if profile.one_mode_only else profile.heating_share
    season = np.cos(2.0 * np.pi * (day % 365.25 - 15.0) / 365.25)
    return np.asarray(rng.random(len(day)) < share + 0.6 * min(share, 1.0 - share) * season)
