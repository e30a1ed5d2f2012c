"""Drawing the units of a fleet: where they stand, what they are, what is wrong, and fitting ducts."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from pipeline.simulate import physics
from pipeline.simulate.fans import BASE_TAP, Bools, FanBank, Floats, Ints, make_fans
from pipeline.simulate.profile import Profile
from pipeline.simulate.units import NEVER, Units

_TONS = np.array([2.0, 2.5, 3.0, 3.5, 4.0, 5.0])
_RATED = np.array([0.2, 0.3, 0.5, 0.8])
_RATED_SHARE = np.array([0.04, 0.16, 0.68, 0.12])


@dataclass(frozen=True)
class Layout:
    """Site and place (slot) of each unit, days of installation and retirement (NEVER: in service).

    Units of the first generation come first, one per slot in order; successors of replaced units follow.
    """

    site: Ints
    slot: Ints
    installed_day: Ints
    retired_day: Ints


@dataclass(frozen=True)
class Plate:
    """What stands on the data plate and in the job's papers; `..._known` says what the drop tells of it."""

    fan_coil: Bools
    motor: Ints
    tons: Floats
    rated: Floats
    design_cooling: Floats
    design_heating: Floats
    design_known: Bools
    table_known: Bools
    budget_known: Bools
    design_return: Floats
    design_supply: Floats
    filter_in_rating: Bools
    coil_in_rating: Bools


@dataclass(frozen=True)
class Wants:
    """What the ducts shall do.

    `ratio`: cooling TESP over rated with sound ducts at the base tap; `share`: of it on the return; `cause`:
    index into CAUSES; `target`: cooling TESP with the fault (in. w.c.); `grows`, `growth`: see Units;
    `filter_share`, `coil_share`: of their side's static.
    """

    ratio: Floats
    share: Floats
    cause: Ints
    target: Floats
    grows: Ints
    growth: Floats
    filter_share: Floats
    coil_share: Floats


def plan_units(profile: Profile, elevation_ft: Floats, rng: np.random.Generator) -> tuple[Units, FanBank]:
    """Units for all sites: usually one a site, some with two, some replaced by a new one half-way."""
    layout = draw_layout(profile, rng)
    plate = draw_plate(profile, len(layout.site), rng)
    wants = draw_wants(profile, plate, layout, rng)
    return build_units(profile, layout, plate, wants, elevation_ft, rng)


def days_of(profile: Profile) -> tuple[int, float]:
    """(first day since 1970, length in days) of the time that the profile covers."""
    return int(np.datetime64(profile.start_on, "D").astype(int)), profile.years * 365.25


def draw_layout(profile: Profile, rng: np.random.Generator) -> Layout:
    start, length = days_of(profile)
    first = np.arange(profile.n_sites)
    second = first[rng.random(profile.n_sites) < profile.second_unit_share]
    place = np.concatenate([first, second])
    slot = np.arange(len(place))
    replaced = rng.random(len(place)) < profile.replaced_share
    n_old = len(place)
    retired = np.full(n_old + int(replaced.sum()), NEVER)
    changed = start + np.round(rng.uniform(0.3, 0.7, replaced.sum()) * length).astype(np.int64)
    retired[:n_old][replaced] = changed
    installed = np.where(rng.random(len(retired)) < 0.7, start - 2252, start - 273)
    installed[n_old:] = changed
    return Layout(
        np.concatenate([place, place[replaced]]), np.concatenate([slot, slot[replaced]]), installed, retired
    )


def draw_plate(profile: Profile, n: int, rng: np.random.Generator) -> Plate:
    fan_coil = rng.random(n) < profile.fan_coil_share
    tons = rng.choice(_TONS, n)
    rated = rng.choice(_RATED, n, p=_RATED_SHARE)
    design = np.round(tons * rng.choice(np.array([350.0, 400.0]), n))
    share = rng.uniform(0.40, 0.60, n)
    total = rated * rng.choice([1.0, 0.9], n, p=[0.7, 0.3])
    filter_in = rng.random(n) < profile.filter_in_rating_share / max(profile.fan_coil_share, 1e-9)
    return Plate(
        fan_coil=fan_coil,
        motor=rng.choice(3, n, p=[0.42, 0.33, 0.25]),
        tons=tons,
        rated=rated,
        design_cooling=design,
        design_heating=np.round(0.87 * design),
        design_known=rng.random(n) >= profile.missing_design_share,
        table_known=rng.random(n) >= profile.missing_table_share,
        budget_known=rng.random(n) >= profile.missing_budget_share,
        design_return=-np.round(share * total, 3),
        design_supply=np.round((1.0 - share) * total, 3),
        filter_in_rating=fan_coil & filter_in,
        coil_in_rating=fan_coil,
    )


def draw_wants(profile: Profile, plate: Plate, layout: Layout, rng: np.random.Generator) -> Wants:
    """Causes by the profile's shares. A unit whose side grows has no other fault, and stands all the time."""
    n, rated = len(plate.rated), plate.rated
    start, _ = days_of(profile)
    shares = [profile.chronic_return_share, profile.chronic_supply_share, profile.chronic_airflow_share]
    draw = rng.random(n)
    growing = (rng.random(n) < profile.growth_share) & (rated >= 0.5)
    growing &= (layout.retired_day == NEVER) & (layout.installed_day < start)
    cause = np.where(growing, 0, np.select([draw < s for s in np.cumsum(shares)], [1, 2, 3], 0))
    slope = rng.uniform(*profile.growth_slopes, n) * np.where(
        rng.random(n) < profile.falling_share, -1.0, 1.0
    )
    ratio = np.clip(rng.normal(*profile.sound_ratio, n), 0.45, 1.25)
    ratio = np.where(cause == 3, rng.uniform(0.92, 1.05, n), ratio)
    ratio = np.where((cause == 1) | (cause == 2), rng.uniform(0.75, 0.95, n), ratio)
    excess = rng.uniform(*profile.chronic_excess, n) * np.minimum(1.0, rated / 0.5)
    target = np.where((cause == 1) | (cause == 2), rated + excess, ratio * rated)
    in_coil = rng.uniform(0.3, 0.6, n)
    return Wants(
        ratio=ratio,
        share=rng.uniform(0.40, 0.60, n),
        cause=cause,
        target=np.where(growing, rng.uniform(0.95, 1.25, n) * rated, target),
        grows=np.where(growing, rng.integers(1, 3, n), 0),
        growth=np.where(growing, slope, 0.0),
        filter_share=rng.uniform(0.25, 0.45, n),
        coil_share=np.where(plate.coil_in_rating, in_coil, rng.uniform(0.35, 0.55, n)),
    )


def build_units(
    profile: Profile,
    layout: Layout,
    plate: Plate,
    wants: Wants,
    elevation_ft: Floats,
    rng: np.random.Generator,
) -> tuple[Units, FanBank]:
    """Fans by the plates, ducts by the wants; no work has been done yet."""
    n = len(layout.site)
    start, length = days_of(profile)
    fans, fan = make_fans(plate.motor, plate.design_cooling, plate.rated)
    sigma = physics.density_ratio(elevation_ft[layout.site])
    spread = np.log(profile.scatter_spread) / 2.0
    fast = wants.cause == 3
    units = Units(
        **vars(layout),
        **vars(plate),
        **_ducts(profile, plate, wants, fans, fan, sigma),
        fan=fan,
        sigma=sigma,
        cause=wants.cause,
        grows=wants.grows,
        growth=wants.growth,
        middle_day=np.full(n, start + 0.5 * length),
        cooling_tap=np.where(fast, 3, BASE_TAP),
        heating_tap=np.where(fast, 3, BASE_TAP - 1),
        scatter=np.exp(rng.uniform(-spread, spread, n)),
        work_day=np.full(n, NEVER),
        work_factor=np.ones((n, 4)),
        work_tap_shift=np.zeros(n, np.int64),
    )
    return units, fans


def _ducts(
    profile: Profile, plate: Plate, wants: Wants, fans: FanBank, fan: Ints, sigma: Floats
) -> dict[str, Any]:
    """Resistances of return duct, filter, coil, supply duct that put the cooling TESP where it is wanted."""
    tap = np.full(len(fan), BASE_TAP)
    tesp = wants.ratio * plate.rated
    square = fans.airflow(fan, tap, tesp / sigma) ** 2
    k_return, k_supply = wants.share * tesp / square, (1.0 - wants.share) * tesp / square
    k_filter, k_coil = wants.filter_share * k_return, wants.coil_share * k_supply
    inner_return = np.where(plate.filter_in_rating, 0.0, k_filter)
    inner_supply = np.where(plate.coil_in_rating, 0.0, k_coil)
    # the side that is wrong takes what the target leaves over
    growing = wants.grows > 0
    side = np.where(growing, wants.grows, np.where(wants.cause == 3, 0, wants.cause))
    other = np.where(side == 1, k_supply, k_return)
    inner = np.where(side == 1, inner_return, inner_supply)
    reach = np.where(growing, np.abs(wants.growth) * profile.years / 2.0, 0.0)
    # a falling side never falls below what its filter or coil alone would hold
    lowest = np.where(growing, (other + 1.5 * inner) * square + reach, 0.0)
    highest = 0.92 * sigma * fans.highest(fan, tap) - reach
    target = np.minimum(np.maximum(wants.target, lowest), highest)
    wanted = target / fans.airflow(fan, tap, target / sigma) ** 2 - other
    k_return = np.where(side == 1, np.maximum(wanted, 1.1 * inner), k_return)
    k_supply = np.where(side == 2, np.maximum(wanted, 1.1 * inner), k_supply)
    return {
        "k_return_duct": k_return - inner_return,
        "k_filter": k_filter,
        "k_coil": k_coil,
        "k_supply_duct": k_supply - inner_supply,
        "growth_tesp": target,
    }
