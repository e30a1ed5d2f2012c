"""The equipment of a fleet: what it is, how its ducts resist, what is wrong with it. Drawn in `plan.py`."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.simulate.fans import Bools, Floats, Ints

CAUSES = ("none", "return", "supply", "airflow_setting")
NEVER = 10**9


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
