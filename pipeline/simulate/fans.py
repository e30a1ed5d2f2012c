"""Blower tables: airflow and power against external static pressure, per tap, for standard air.

The change of airflow with static follows the blower model of the US furnace-fan rulemaking (docket
EERE-2014-BT-STD-0048-0098, equation 7-C.4, as restated in an open rating library; status S in the project's
reference notes): dQ = aP + bP^2 and W/cfm = base + cP + dP^2, P in in. w.c. How taps scale, where a table
ends and the torque limit of constant-airflow motors are this simulator's own.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

MOTORS = ("psc", "constant_torque", "constant_airflow")
TAPS = ("low", "med_low", "med_high", "high")
TAP_SPEED = np.array([0.55, 0.78, 1.0, 1.22])
BASE_TAP = 2
STEP_INWC = 0.05

_FLOW = np.array([[49.0, -570.0], [-456.0, 8.0], [99.0, -103.0]])  # a, b for a 1200 cfm blower
_WATTS = np.array([[0.52, -0.20, 0.19], [0.19, 0.12, 0.07], [0.12, 0.25, -0.01]])  # base, c, d for 3 tons
_BASE_PER_TON = np.array([0.02, 0.016, 0.013])


def blower_cfm(
    motor: Ints, design_cfm: Floats, rated_inwc: Floats, speed: Floats, static_inwc: Floats
) -> Floats:
    """Airflow in cfm at a static; arrays broadcast. The base tap gives the design airflow at rated static."""
    p = static_inwc * (0.5 / rated_inwc) / np.sqrt(speed)
    a, b = _FLOW[motor, 0], _FLOW[motor, 1]
    change = a * (p - 0.5) + b * (p * p - 0.25)
    torque_limit = np.where(motor == 2, -600.0 * np.maximum(p - 0.9, 0.0) ** 2, 0.0)
    return np.asarray(speed * design_cfm * (1.0 + (change + torque_limit) / 1200.0))


def blower_watts(motor: Ints, cfm: Floats, rated_inwc: Floats, speed: Floats, static_inwc: Floats) -> Floats:
    """Electric power in W at that airflow and static; arrays broadcast."""
    p = static_inwc * (0.5 / rated_inwc)
    base = _WATTS[motor, 0] + _BASE_PER_TON[motor] * (cfm / 400.0 - 3.0)
    per_cfm = base + _WATTS[motor, 1] * p + _WATTS[motor, 2] * p * p
    slower = np.where(motor == 0, 1.0, speed**0.8)
    return np.asarray(cfm * np.maximum(per_cfm, 0.08) * slower)


@dataclass(frozen=True)
class FanBank:
    """All blower tables of a fleet on one grid of static pressures (step 0.05 in. w.c., first point 0.05).

    `cfm` and `watts` have a row per fan and tap (row = 4 * fan + tap); `points` tells how many columns of a
    row are printed in the table. Beyond them the curve goes on by the last segment, for the solver alone.
    """

    ids: tuple[str, ...]
    cfm: Floats
    watts: Floats
    points: Ints

    def airflow(self, fan: Ints, tap: Ints, static_inwc: Floats) -> Floats:
        """Airflow in cfm, linear between the printed points."""
        return self._look_up(self.cfm, fan * len(TAPS) + tap, static_inwc)

    def power(self, fan: Ints, tap: Ints, static_inwc: Floats) -> Floats:
        """Power in W, linear between the printed points."""
        return self._look_up(self.watts, fan * len(TAPS) + tap, static_inwc)

    def highest(self, fan: Ints, tap: Ints) -> Floats:
        """The largest static that the table lists, in in. w.c."""
        return np.asarray(STEP_INWC * self.points[fan * len(TAPS) + tap])

    def _look_up(self, values: Floats, row: Ints, static_inwc: Floats) -> Floats:
        place = static_inwc / STEP_INWC - 1.0
        left = np.clip(np.floor(place).astype(np.int64), 0, self.points[row] - 2)
        flat = values.ravel()
        start = row * values.shape[1] + left
        low = flat[start]
        return np.asarray(low + (place - left) * (flat[start + 1] - low))


def make_fans(motor: Ints, design_cfm: Floats, rated_inwc: Floats) -> tuple[FanBank, Ints]:
    """The distinct blower tables of units with these motors and designs, and each unit's index into them."""
    keys = np.column_stack([design_cfm, rated_inwc, motor.astype(np.float64)])
    distinct, fan = np.unique(keys, axis=0, return_inverse=True)
    design, rated = distinct[:, 0][:, None, None], distinct[:, 1][:, None, None]
    kind = distinct[:, 2].astype(np.int64)[:, None, None]
    width = int(np.ceil(2.4 * distinct[:, 1].max() / STEP_INWC))
    static = STEP_INWC * np.arange(1, width + 1, dtype=np.float64)[None, None, :]
    speed = TAP_SPEED[None, :, None]
    cfm: Floats = np.round(blower_cfm(kind, design, rated, speed, static), 1)
    watts: Floats = np.round(blower_watts(kind, np.maximum(cfm, 0.0), rated, speed, static), 1)
    printed = (cfm >= 0.25 * speed * design) & (static <= 2.4 * rated + 1e-9)
    points = np.maximum(printed.sum(axis=2), 2)
    ids = tuple(f"BT-{d:.0f}-{100 * r:.0f}-{MOTORS[int(m)]}" for d, r, m in distinct)
    bank = FanBank(ids, cfm.reshape(-1, width), watts.reshape(-1, width), points.reshape(-1).astype(np.int64))
    return bank, fan.reshape(-1).astype(np.int64)
