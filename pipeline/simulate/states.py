"""The true state of a unit at a moment: statics, drops, airflow, causes, as ducts and blower make them."""

from __future__ import annotations

from dataclasses import dataclass, field, fields

import numpy as np

from pipeline.simulate.fans import BASE_TAP, Bools, FanBank, Floats, Ints
from pipeline.simulate.physics import excess_split, operating_point
from pipeline.simulate.units import Units


@dataclass(frozen=True)
class Conditions:
    """What is not like new at a visit: factors on resistances (1 = clean), the blower's share of its air."""

    filter: Floats
    coil: Floats
    supply: Floats
    blower: Floats
    low_stage: Bools

    @classmethod
    def like_new(cls, n: int) -> Conditions:
        one = np.ones(n)
        return cls(one, one, one, one, np.zeros(n, bool))

    def any(self) -> Bools:
        """Where something differs from like new."""
        worn = (self.filter != 1) | (self.coil != 1) | (self.supply != 1) | (self.blower != 1)
        return np.asarray(worn | self.low_stage)

    def at(self, rows: Bools) -> Conditions:
        return Conditions(*(getattr(self, f.name)[rows] for f in fields(self)))


@dataclass(frozen=True)
class State:
    """True values at the right ports: pressures in in. w.c. (return negative), airflow in cfm, power in W."""

    return_inwc: Floats
    supply_inwc: Floats
    airflow_cfm: Floats
    power_w: Floats
    filter_drop: Floats
    coil_drop: Floats
    tap: Ints
    tesp_inwc: Floats = field(init=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "tesp_inwc", self.supply_inwc - self.return_inwc)

    def replaced(self, rows: Bools, other: State) -> State:
        """This state with the rows taken from `other` (which holds just those)."""
        merged = {}
        for f in fields(self):
            if f.init:
                merged[f.name] = getattr(self, f.name).copy()
                merged[f.name][rows] = getattr(other, f.name)
        return State(**merged)


def tap_at(units: Units, unit: Ints, day: Ints, heating: Bools) -> Ints:
    """The speed tap that is wired at that day, in that mode."""
    tap = np.where(heating, units.heating_tap[unit], units.cooling_tap[unit])
    return np.asarray(
        np.maximum(tap - np.where(day > units.work_day[unit], units.work_tap_shift[unit], 0), 0)
    )


def state_at(
    units: Units, fans: FanBank, unit: Ints, day: Ints, heating: Bools, as_found: Conditions
) -> State:
    """The operating point of each unit on each day under the conditions; arrays of one length."""
    factor = np.where((day > units.work_day[unit])[:, None], units.work_factor[unit], 1.0)
    tap = tap_at(units, unit, day, heating)
    running = np.where(as_found.low_stage, np.maximum(tap - 1, 0), tap)
    sigma = units.sigma[unit]
    k_return_duct, k_supply_duct = _grown(units, fans, unit, day)
    k_filter = units.k_filter[unit] * factor[:, 1]
    k_coil = units.k_coil[unit] * factor[:, 2]
    filter_inside, coil_inside = units.filter_in_rating[unit], units.coil_in_rating[unit]
    k_return = k_return_duct * factor[:, 0] + np.where(filter_inside, 0.0, k_filter * as_found.filter)
    k_supply = k_supply_duct * factor[:, 3] * as_found.supply + np.where(
        coil_inside, 0.0, k_coil * as_found.coil
    )
    # dirt on a part that the blower table already contains works like more static at the blower
    k_hidden = np.where(filter_inside, k_filter * (as_found.filter - 1.0), 0.0)
    k_hidden = k_hidden + np.where(coil_inside, k_coil * (as_found.coil - 1.0), 0.0)
    cfm, static = operating_point(
        fans, units.fan[unit], running, k_return + k_supply + k_hidden, sigma, as_found.blower
    )
    square = cfm * cfm
    return State(
        return_inwc=-k_return * square,
        supply_inwc=k_supply * square,
        airflow_cfm=cfm,
        power_w=fans.power(units.fan[unit], running, static / sigma),
        filter_drop=k_filter * as_found.filter * square,
        coil_drop=k_coil * as_found.coil * square,
        tap=tap,
    )


def _grown(units: Units, fans: FanBank, unit: Ints, day: Ints) -> tuple[Floats, Floats]:
    """Return and supply duct K on the day; on a growing side, so that the cooling TESP moves by the slope."""
    k_return, k_supply = units.k_return_duct[unit].copy(), units.k_supply_duct[unit].copy()
    rows = np.flatnonzero(units.grows[unit] > 0)
    u = unit[rows]
    tesp = units.growth_tesp[u] + units.growth[u] * (day[rows] - units.middle_day[u]) / 365.25
    cfm = fans.airflow(units.fan[u], np.full(len(u), BASE_TAP), tesp / units.sigma[u])
    inner = np.where(units.filter_in_rating[u], 0.0, units.k_filter[u])
    inner = inner + np.where(units.coil_in_rating[u], 0.0, units.k_coil[u])
    total = tesp / cfm**2 - inner
    on_return = units.grows[u] == 1
    k_return[rows] = np.where(on_return, total - k_supply[rows], k_return[rows])
    k_supply[rows] = np.where(on_return, k_supply[rows], total - units.k_return_duct[u])
    return k_return, k_supply


def causes(
    units: Units, unit: Ints, heating: Bools, state: State, hidden_design: bool = False
) -> tuple[Floats, ...]:
    """(return restriction, supply restriction, airflow setting, airflow ratio), by the contract's split.

    The ratio is NaN where the drop lacks the blower table or the design airflow, unless `hidden_design`.
    """
    design = np.where(heating, units.design_heating[unit], units.design_cooling[unit])
    ratio = state.airflow_cfm / design
    if not hidden_design:
        ratio = np.where(units.design_known[unit] & units.table_known[unit], ratio, np.nan)
    budget_return, budget_supply = units.budgets()
    split = excess_split(
        state.return_inwc, state.supply_inwc, budget_return[unit], budget_supply[unit], ratio
    )
    return (*split, ratio)
