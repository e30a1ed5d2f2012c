"""The equipment of a fleet: what it is, how its ducts resist, and what is wrong with it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.simulate import physics
from pipeline.simulate.fans import BASE_TAP, Bools, FanBank, Floats, Ints, make_fans
from pipeline.simulate.profile import Profile

CAUSES = ("none", "return", "supply", "airflow_setting")
NEVER = 10**9
_TONS = np.array([2.0, 2.5, 3.0, 3.5, 4.0, 5.0])
_RATED = np.array([0.2, 0.3, 0.5, 0.8])
_RATED_SHARE = np.array([0.04, 0.16, 0.68, 0.12])


@dataclass(frozen=True)
class Units:
    """An array per property, an element per unit. Pressures in in. w.c., K in in. w.c./cfm^2, days from 1970.

    `grows` is the side (1 return, 2 supply, 0 neither) whose duct changes so that the cooling TESP moves by
    `growth` in. w.c. a year around `growth_tesp` at `middle_day`. `work_factor`: the parts of works.EFFECTS.
    """

    site: Ints
    slot: Ints
    fan_coil: Bools
    motor: Ints
    tons: Floats
    rated: Floats
    sigma: Floats
    design_cooling: Floats
    design_heating: Floats
    design_known: Bools
    table_known: Bools
    budget_known: Bools
    design_return: Floats
    design_supply: Floats
    filter_in_rating: Bools
    coil_in_rating: Bools
    fan: Ints
    cooling_tap: Ints
    heating_tap: Ints
    k_return_duct: Floats
    k_filter: Floats
    k_coil: Floats
    k_supply_duct: Floats
    cause: Ints
    scatter: Floats
    grows: Ints
    growth: Floats
    growth_tesp: Floats
    middle_day: Floats
    installed_day: Ints
    retired_day: Ints
    work_day: Ints
    work_factor: Floats
    work_tap_shift: Ints

    def __len__(self) -> int:
        return len(self.site)

    def budgets(self) -> tuple[Floats, Floats]:
        """(return, supply) share of the rated TESP in in. w.c., by the contract's rule."""
        total = np.where(self.budget_known, np.abs(self.design_return) + self.design_supply, 1.0)
        share = np.where(self.budget_known, np.abs(self.design_return) / total, 0.5)
        return share * self.rated, self.rated - share * self.rated


def plan_units(profile: Profile, elevation_ft: Floats, rng: np.random.Generator) -> tuple[Units, FanBank]:
    """Units for all sites: usually one a site, some with two, some replaced by a new one half-way."""
    start, length = _days(profile)
    first = np.arange(profile.n_sites)
    second = first[rng.random(profile.n_sites) < profile.second_unit_share]
    place = np.concatenate([first, second])
    slot = np.arange(len(place))
    replaced = rng.random(len(place)) < profile.replaced_share
    site, slot = np.concatenate([place, place[replaced]]), np.concatenate([slot, slot[replaced]])
    n, n_old = len(site), len(place)
    retired = np.full(n, NEVER)
    retired[:n_old][replaced] = start + np.round(rng.uniform(0.3, 0.7, replaced.sum()) * length).astype(
        np.int64
    )
    installed = np.where(rng.random(n) < 0.7, start - 2252, start - 273)
    installed[n_old:] = retired[:n_old][replaced]
    kind = _kind(profile, n, rng)
    fans, fan = make_fans(kind["motor"], kind["design_cooling"], kind["rated"])
    sigma = physics.density_ratio(elevation_ft[site])
    ducts = _ducts(profile, kind, fans, fan, sigma, rng)
    growing = (ducts["grows"] > 0) & (retired == NEVER) & (installed < start)
    ducts["grows"] = np.where(growing, ducts["grows"], 0)
    ducts["growth"] = np.where(growing, ducts["growth"], 0.0)
    spread = np.log(profile.scatter_spread) / 2.0
    units = Units(
        site=site, slot=slot, sigma=sigma, fan=fan, installed_day=installed, retired_day=retired,
        middle_day=np.full(n, start + 0.5 * length), scatter=np.exp(rng.uniform(-spread, spread, n)),
        work_day=np.full(n, NEVER), work_factor=np.ones((n, 4)), work_tap_shift=np.zeros(n, np.int64),
        **kind, **ducts,
    )  # fmt: skip
    return units, fans


def _days(profile: Profile) -> tuple[int, float]:
    return (np.datetime64(profile.start_on, "D")).astype(int), profile.years * 365.25


def _kind(profile: Profile, n: int, rng: np.random.Generator) -> dict[str, np.ndarray]:
    """What stands on the data plate and in the job's papers."""
    fan_coil = rng.random(n) < profile.fan_coil_share
    tons = rng.choice(_TONS, n)
    rated = rng.choice(_RATED, n, p=_RATED_SHARE)
    design = np.round(tons * rng.choice([350.0, 400.0], n))
    share = rng.uniform(0.40, 0.60, n)
    total = rated * rng.choice([1.0, 0.9], n, p=[0.7, 0.3])
    filter_in = fan_coil & (
        rng.random(n) < profile.filter_in_rating_share / max(profile.fan_coil_share, 1e-9)
    )
    return {
        "fan_coil": fan_coil,
        "motor": rng.choice(3, n, p=[0.42, 0.33, 0.25]),
        "tons": tons,
        "rated": rated,
        "design_cooling": design,
        "design_heating": np.round(0.87 * design),
        "design_known": rng.random(n) >= profile.missing_design_share,
        "table_known": rng.random(n) >= profile.missing_table_share,
        "budget_known": rng.random(n) >= profile.missing_budget_share,
        "design_return": -np.round(share * total, 3),
        "design_supply": np.round((1.0 - share) * total, 3),
        "filter_in_rating": filter_in,
        "coil_in_rating": fan_coil,
    }


def _ducts(
    profile: Profile,
    kind: dict[str, np.ndarray],
    fans: FanBank,
    fan: Ints,
    sigma: Floats,
    rng: np.random.Generator,
) -> dict[str, np.ndarray]:
    """Duct, filter and coil resistances that put the cooling TESP where the plan wants it."""
    n, rated = len(fan), kind["rated"]
    cause, grows, growth = _plan_causes(profile, rated, rng)
    ratio = np.clip(rng.normal(*profile.sound_ratio, n), 0.45, 1.25)
    ratio = np.where(
        cause == 3, rng.uniform(0.92, 1.05, n), np.where(cause > 0, rng.uniform(0.75, 0.95, n), ratio)
    )
    tap = np.full(n, BASE_TAP)
    share = rng.uniform(0.40, 0.60, n)
    tesp = ratio * rated
    cfm = fans.airflow(fan, tap, tesp / sigma)
    p_return, p_supply = share * tesp, (1.0 - share) * tesp
    k_filter = rng.uniform(0.25, 0.45, n) * p_return / cfm**2
    k_coil = (
        np.where(kind["coil_in_rating"], rng.uniform(0.3, 0.6, n), rng.uniform(0.35, 0.55, n))
        * p_supply
        / cfm**2
    )
    inner_return = np.where(kind["filter_in_rating"], 0.0, k_filter)
    inner_supply = np.where(kind["coil_in_rating"], 0.0, k_coil)
    k_return, k_supply = p_return / cfm**2, p_supply / cfm**2
    # the side that is wrong takes what the planned TESP leaves over
    excess = rng.uniform(*profile.chronic_excess, n) * np.minimum(1.0, rated / 0.5)
    target = np.where((cause == 1) | (cause == 2), np.maximum(rated, tesp) + excess, tesp)
    growing = grows > 0
    side = np.where(growing, grows, np.where(cause == 3, 0, cause))
    other = np.where(side == 1, k_supply, k_return)
    reach = np.abs(growth) * profile.years / 2.0
    # a falling side never falls below what its filter or coil alone would hold
    inner = np.where(side == 1, inner_return, inner_supply)
    start_floor = np.maximum(rng.uniform(0.95, 1.25, n) * rated, (other + 1.5 * inner) * cfm**2 + reach)
    target = np.where(growing, start_floor, target)
    target = np.minimum(target, 0.92 * sigma * fans.highest(fan, tap) - np.where(growing, reach, 0.0))
    cfm_target = fans.airflow(fan, tap, target / sigma)
    wanted = target / cfm_target**2 - other
    k_return = np.where(side == 1, np.maximum(wanted, k_return * 0.3), k_return)
    k_supply = np.where(side == 2, np.maximum(wanted, k_supply * 0.3), k_supply)
    fast = cause == 3
    return {
        "k_return_duct": k_return - inner_return,
        "k_filter": k_filter,
        "k_coil": k_coil,
        "k_supply_duct": k_supply - inner_supply,
        "cause": cause,
        "grows": grows,
        "growth": growth,
        "growth_tesp": target,
        "cooling_tap": np.where(fast, 3, BASE_TAP),
        "heating_tap": np.where(fast, 3, BASE_TAP - 1),
    }


def _plan_causes(profile: Profile, rated: Floats, rng: np.random.Generator) -> tuple[Ints, Ints, Floats]:
    """(cause, side that grows, slope per year). A site that grows has no other fault."""
    n = len(rated)
    shares = [profile.chronic_return_share, profile.chronic_supply_share, profile.chronic_airflow_share]
    draw = rng.random(n)
    growing = (rng.random(n) < profile.growth_share) & (rated >= 0.5)
    cause = np.where(growing, 0, np.select([draw < s for s in np.cumsum(shares)], [1, 2, 3], 0))
    slope = rng.uniform(*profile.growth_slopes, n) * np.where(
        rng.random(n) < profile.falling_share, -1.0, 1.0
    )
    return cause, np.where(growing, rng.integers(1, 3, n), 0), np.where(growing, slope, 0.0)
