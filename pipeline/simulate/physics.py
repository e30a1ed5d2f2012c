"""The operating point of a blower against its ducts, and the contract's split of the excess over rated."""

from __future__ import annotations

import numpy as np

from pipeline.simulate.fans import FanBank, Floats, Ints

BISECTIONS = 46
HIGHEST_INWC = 4.0


def density_ratio(elevation_ft: Floats) -> Floats:
    """Air density at an elevation over that at sea level (US Standard Atmosphere 1976, below 36,000 ft)."""
    return np.asarray((1.0 - 6.8755856e-6 * elevation_ft) ** 4.2558797)


def operating_point(
    fans: FanBank, fan: Ints, tap: Ints, k_total: Floats, sigma: Floats, blower_share: Floats
) -> tuple[Floats, Floats]:
    """Where the blower's curve meets the duct curve p = K Q^2: (airflow in cfm, static in in. w.c.).

    `k_total` in in. w.c./cfm^2 at the air's own density; the table is for standard air, so a static p
    stands for p / sigma there. `blower_share` is 1 for a clean wheel. All arrays have one length.
    """
    low = np.zeros_like(k_total)
    high = np.full_like(k_total, HIGHEST_INWC)
    for _ in range(BISECTIONS):
        middle = 0.5 * (low + high)
        cfm = np.maximum(blower_share * fans.airflow(fan, tap, middle / sigma), 0.0)
        above = k_total * cfm * cfm > middle
        low = np.where(above, middle, low)
        high = np.where(above, high, middle)
    static = 0.5 * (low + high)
    # airflow from the table, static from the ducts: what is left of the bisection, 1e-13, is in the static
    airflow = np.maximum(blower_share * fans.airflow(fan, tap, static / sigma), 0.0)
    return airflow, k_total * airflow * airflow


def excess_split(
    return_inwc: Floats,
    supply_inwc: Floats,
    budget_return: Floats,
    budget_supply: Floats,
    airflow_ratio: Floats,
) -> tuple[Floats, Floats, Floats]:
    """(return restriction, supply restriction, airflow setting) in in. w.c.; they sum to TESP - rated.

    Contract section 4: with a = airflow_ratio^2 and r = p / (b a), p - b = b(r-1)(a+1)/2 + b(a-1)(r+1)/2.
    `return_inwc` is negative as recorded. Where the ratio is NaN (airflow or design unknown) all of it is
    restriction and the airflow setting is NaN.
    """
    a = airflow_ratio**2
    known = ~np.isnan(a)
    restriction = []
    setting = np.zeros_like(return_inwc)
    for p, b in ((np.abs(return_inwc), budget_return), (np.abs(supply_inwc), budget_supply)):
        r = p / (b * a)
        restriction.append(np.where(known, 0.5 * b * (r - 1.0) * (a + 1.0), p - b))
        setting = setting + 0.5 * b * (a - 1.0) * (r + 1.0)
    return restriction[0], restriction[1], np.where(known, setting, np.nan)
