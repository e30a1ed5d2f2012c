"""The contract's section 4 for one visit: airflow, budgets and the split of the excess over the rating.

Choices that the contract leaves open:
 1. A budget by design needs both design statics; with one of them, or both 0, it is half the rating each.
 2. A table is read at its ends too; beyond them there is no airflow. Tap: the visit's, else the equipment's by mode.
 3. airflow_source is none where the design airflow is unknown, too; a known airflow is told even so.
 4. Power: measured, else from the table at the same static.
 5. A row without power gives none up to its neighbours; nothing is read across the gap.
 6. A measured airflow of 0 cannot be split by (r has no value): all is restriction and the source none, as if
    unknown.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

Row = Mapping[str, Any]
Point = tuple[float, float | None]  # static, value


@dataclass(frozen=True)
class Airflow:
    """Airflow in cfm and where it comes from, its ratio to design, and the blower's power in W."""

    cfm: float | None
    source: str
    ratio: float | None
    power_w: float | None


def density_ratio(elevation_ft: float) -> float:
    """US Standard Atmosphere 1976 by its own constants: pressure ratio over temperature ratio."""
    geometric_m = elevation_ft * 0.3048
    height_m = 6356766.0 * geometric_m / (6356766.0 + geometric_m)
    temperature_k = 288.15 - 0.0065 * height_m
    exponent = 9.80665 * 0.0289644 / (8.31432 * 0.0065)
    pressure_ratio = math.exp(exponent * math.log(temperature_k / 288.15))
    return pressure_ratio / (temperature_k / 288.15)


def read_table(points: Sequence[Point], static: float) -> float | None:
    """The straight line between the two rows around `static`; None beyond the table or beside a gap."""
    for (x0, y0), (x1, y1) in pairwise(sorted(points, key=lambda point: point[0])):
        if x0 <= static <= x1 and x1 > x0:
            return None if y0 is None or y1 is None else y0 + (y1 - y0) * (static - x0) / (x1 - x0)
    if len(points) == 1 and points[0][0] == static:
        return points[0][1]
    return None


def table_of(blower_table: Sequence[Row], table_id: str | None, tap: str | None, column: str) -> list[Point]:
    """(static, value) rows of one tap; none where the equipment has no table or the tap is not in it."""
    return [
        (row["external_static_inwc"], row[column])
        for row in blower_table
        if table_id is not None and row["blower_table_id"] == table_id and row["tap"] == tap
    ]


def visit_airflow(
    visit: Row, tesp_inwc: float, equipment: Row, blower_table: Sequence[Row], elevation_ft: float
) -> Airflow:
    """Airflow and power of a visit; the table is looked up at the static that standard air would show."""
    tap = visit.get("tap") or equipment.get(f"{visit['mode']}_tap")
    static = tesp_inwc / density_ratio(elevation_ft)
    from_table = read_table(
        table_of(blower_table, equipment.get("blower_table_id"), tap, "airflow_cfm"), static
    )
    power = read_table(table_of(blower_table, equipment.get("blower_table_id"), tap, "power_w"), static)
    measured = visit.get("airflow_cfm")
    cfm = measured if measured is not None else from_table
    design = equipment.get(f"design_{visit['mode']}_cfm")
    ratio = cfm / design if cfm is not None and design else None
    source = "none" if not ratio else "blower_table" if measured is None else "measured"
    measured_power = visit.get("motor_power_w")
    return Airflow(cfm, source, ratio, measured_power if measured_power is not None else power)


def side_budgets(equipment: Row) -> tuple[float, float]:
    """(return, supply) budget as magnitudes in in. w.c.; they sum to the rated TESP."""
    rated: float = equipment["rated_tesp_inwc"]
    design_return, design_supply = equipment.get("design_return_inwc"), equipment.get("design_supply_inwc")
    if design_return is None or design_supply is None or abs(design_return) + abs(design_supply) == 0:
        return rated / 2, rated / 2
    whole = abs(design_return) + abs(design_supply)
    return rated * abs(design_return) / whole, rated * abs(design_supply) / whole


def split_side(p: float, b: float, airflow_ratio: float | None) -> tuple[float, float]:
    """(restriction, airflow setting) of one side's p - b, as the contract writes it."""
    if not airflow_ratio:
        return p - b, 0.0
    a = airflow_ratio**2
    r = p / (b * a)
    return b * (r - 1) * (a + 1) / 2, b * (a - 1) * (r + 1) / 2


def excess_parts(
    return_inwc: float, supply_inwc: float, budgets: tuple[float, float], airflow_ratio: float | None
) -> tuple[float, float, float]:
    """(return restriction, supply restriction, airflow setting) of TESP - rated, in in. w.c."""
    return_restriction, return_airflow = split_side(-return_inwc, budgets[0], airflow_ratio)
    supply_restriction, supply_airflow = split_side(supply_inwc, budgets[1], airflow_ratio)
    return return_restriction, supply_restriction, return_airflow + supply_airflow
