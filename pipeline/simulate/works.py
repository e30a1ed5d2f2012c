"""Work on the ducts: who gets it, when, what it changes. Often a high visit is what triggers it."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from pipeline.simulate.fans import Bools, Floats, Ints
from pipeline.simulate.plan import days_of
from pipeline.simulate.profile import Profile
from pipeline.simulate.units import NEVER, Units
from pipeline.simulate.visits import Visits

# factor ranges on return duct, filter, coil, supply duct
EFFECTS: dict[str, tuple[int, float, float]] = {
    "return_enlarged": (0, 0.35, 0.60),
    "filter_cabinet_enlarged": (1, 0.30, 0.50),
    "supply_enlarged": (3, 0.40, 0.65),
    "supply_repaired": (3, 0.55, 0.80),
    "duct_restrapped": (3, 0.70, 0.90),
}
KINDS_BY_CAUSE: tuple[tuple[str, ...], ...] = (
    ("return_enlarged", "supply_repaired", "coil_cleaned", "registers_opened", "fan_speed_lowered"),
    ("return_enlarged", "return_enlarged", "filter_cabinet_enlarged"),
    ("supply_enlarged", "supply_repaired", "duct_restrapped"),
    ("fan_speed_lowered",),
)
PLAIN_KINDS = ("filter_changed", "other")


@dataclass(frozen=True)
class Works:
    """An element per work; `sham`: a kind that changes nothing here; `plain`: starts no new segment;
    `recorded`: stands in the work table."""

    unit: Ints
    day: Ints
    kind: tuple[str, ...]
    cost: Ints
    sham: Bools
    plain: Bools
    triggered: Bools
    recorded: Bools


def plan_works(
    profile: Profile, units: Units, visits: Visits, rng: np.random.Generator
) -> tuple[Units, Works]:
    """The units with what the work does to them, and the works. Growing and replaced units get none."""
    ratio = units.growth_tesp / units.rated
    able = (
        (units.grows == 0)
        & (units.retired_day == NEVER)
        & (units.installed_day < visits.day.min(initial=NEVER))
    )
    weight = np.where(able, 1.0 + 4.0 * (ratio > 1.0) + 6.0 * (units.cause == 3), 0.0)
    n_work = min(round(profile.work_share * len(units)), int(able.sum()))
    if n_work == 0 or len(visits) == 0:
        chosen = np.zeros(0, np.int64)
    else:
        chosen = np.sort(rng.choice(len(units), n_work, replace=False, p=weight / weight.sum()))
    trigger_day = _trigger_days(profile, units, visits)[chosen]
    start, length = days_of(profile)
    free_day = start + np.round(rng.uniform(0.05, 0.95, len(chosen)) * length).astype(np.int64)
    triggered = (rng.random(len(chosen)) < profile.triggered_work_share) & (trigger_day < NEVER)
    day = np.where(triggered, trigger_day + rng.integers(2, 30, len(chosen)), free_day)
    kind = _kinds(profile, units.cause[chosen], rng)
    sham = np.isin(kind, profile.sham_kinds)
    changed = _apply(units, chosen, day, kind, sham, rng)
    plain = np.flatnonzero(rng.random(len(units)) < 0.08)
    plain_day = start + np.round(rng.uniform(0.0, 1.0, len(plain)) * length).astype(np.int64)
    old = np.flatnonzero(units.retired_day != NEVER)
    works = Works(
        unit=np.concatenate([chosen, plain, old]),
        day=np.concatenate([day, plain_day, units.retired_day[old]]),
        kind=(
            *kind.tolist(),
            *rng.choice(PLAIN_KINDS, len(plain)).tolist(),
            *["equipment_replaced"] * len(old),
        ),
        cost=rng.integers(120, 1500, len(chosen) + len(plain) + len(old)),
        sham=np.concatenate([sham, np.zeros(len(plain) + len(old), bool)]),
        plain=np.concatenate(
            [np.zeros(len(chosen), bool), np.ones(len(plain), bool), np.zeros(len(old), bool)]
        ),
        triggered=np.concatenate([triggered, np.zeros(len(plain) + len(old), bool)]),
        recorded=np.concatenate(
            [rng.random(len(chosen)) >= profile.unrecorded_work_share, np.ones(len(plain) + len(old), bool)]
        ),
    )
    return changed, works


def _trigger_days(profile: Profile, units: Units, visits: Visits) -> Ints:
    """Per unit the day of the visit that read highest (noise, dirty filter), in the middle of the time."""
    start, length = days_of(profile)
    inside = np.flatnonzero((visits.day > start + 0.2 * length) & (visits.day < start + 0.75 * length))
    height = visits.noise[inside, 1] - visits.noise[inside, 0] + 0.05 * (visits.dirt[inside] - 1.0)
    height = height - 0.5 * visits.heating[inside]
    order = np.lexsort((-height, visits.unit[inside]))
    unit = visits.unit[inside][order]
    first = np.flatnonzero(np.r_[True, unit[1:] != unit[:-1]]) if len(unit) else np.zeros(0, np.int64)
    days = np.full(len(units), NEVER)
    days[unit[first]] = visits.day[inside][order][first]
    return days


def _kinds(profile: Profile, cause: Ints, rng: np.random.Generator) -> np.ndarray:
    """A kind that fits the cause, or a sham kind by the profile's share."""
    kind = np.empty(len(cause), dtype=object)
    for c, kinds in enumerate(KINDS_BY_CAUSE):
        real = [k for k in kinds if k not in profile.sham_kinds] or list(kinds)
        picked = cause == c
        kind[picked] = rng.choice(real, picked.sum())
    if profile.sham_kinds:
        sham = rng.random(len(cause)) < profile.sham_work_share
        kind[sham] = rng.choice(profile.sham_kinds, sham.sum())
    return kind.astype(str)


def _apply(
    units: Units, chosen: Ints, day: Ints, kind: np.ndarray, sham: Bools, rng: np.random.Generator
) -> Units:
    work_day, shift = units.work_day.copy(), units.work_tap_shift.copy()
    factor: Floats = units.work_factor.copy()
    work_day[chosen] = day
    for name, (part, low, high) in EFFECTS.items():
        done = (kind == name) & ~sham
        factor[chosen[done], part] = rng.uniform(low, high, done.sum())
    slower = (kind == "fan_speed_lowered") & ~sham
    shift[chosen[slower]] = 1
    return replace(units, work_day=work_day, work_factor=factor, work_tap_shift=shift)
