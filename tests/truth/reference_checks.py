"""The contract's section 2 for one visit: findings and repaired readings, step by step in its order.

A visit, an equipment: a mapping with the contract's column names; unknown values are None. A visit also has
visited_on (the local day), return_decimals, supply_decimals, reported_decimals (decimals written in the text).
Readings enter as recorded, in the row's unit; everything given back is in inches of water.

Choices that the contract leaves open:
 1. Readings are plausible in a unit where none is beyond 2.5 in. w.c. and at least one is beyond 0.02. unit_mismatch
    is found where the row's unit is not plausible and another of inwc, pa, mmwc is.
 2. Only inwc <-> pa is repaired, so a row in mmwc is never repaired, only set aside.
 3. In that repair reported_tesp contradicts if it agrees, read in neither unit, with neither supply - return nor the
    sum of the magnitudes (the sign may have been dropped as well).
 4. Zeros keep the row's unit only where, taken together, they are within 0.02 in. w.c. in it and not in the other.
    The drops follow the readings. reported_tesp follows too, unless it agrees with them only in the row's unit.
 5. A reported total's rounding is half a unit of its last decimal, at most 0.05 in. w.c. (the setting's cap).
 6. The sign was dropped where the total agrees with the sum of the magnitudes and misses the difference by more.
    A repaired sign leaves that port's zero as it stands. A reading of exactly 0 has no wrong sign.
 7. A zero beyond its limit is not subtracted ("up to that it is subtracted"); the visit is set aside anyway.
 8. A drop lies inside the measured span by the port as recorded: the filter's where return was read after_filter, the
    coil's where supply was read before_coil; the static is that after the zero. Only the impossible drop goes.
    An unknown port counts as the right one.
 9. "More than 5 %" is of supply - return.
10. A visit that a step sets aside is carried on through the later steps as it stands; each may find something.
11. readings_repeated marks both visits of a pair, in whichever order; three decimals or more; the same unit.
12. Visits count as in the future by their local day; a visit on the day of installation or retirement is in order.
13. Where a reported total decides, its magnitude does: a negative total is supply - return of swapped hoses. For
    tesp_sum_mismatch it stands with its sign.
14. Where a unit_mismatch is found and not repaired, the later steps go on in the row's unit: the readings may be near
    zero in it as well.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from typing import Any

Row = Mapping[str, Any]

PER_UNIT = {"inwc": 1.0, "pa": 1 / 249.08891, "mmwc": 1 / 25.4}
PLAUSIBLE, NEAR_ZERO, ZERO_LIMIT, AGREES = 2.5, 0.02, 0.02, 0.02
ROUNDING_CAP, SHARE, LAST_BITS = 0.05, 0.05, 1e-9
OTHER_UNIT = {"inwc": "pa", "pa": "inwc"}


def beyond(value: float, limit: float) -> bool:
    """A measured value lies beyond a limit, the last bits of a float forgiven."""
    return value > limit + LAST_BITS


@dataclass
class Checked:
    """What became of one visit. Pressures in in. w.c.; `findings` maps check_id to its consequence."""

    return_read: float = 0.0  # as recorded, in in. w.c., then repaired step by step
    supply_read: float = 0.0
    zero_return: float | None = None
    zero_supply: float | None = None
    filter_drop: float | None = None
    coil_drop: float | None = None
    reported: float | None = None
    reported_rounding: float = 0.0
    unit: str = "inwc"
    sides_known: bool = True
    findings: dict[str, str] = field(default_factory=dict)

    @property
    def return_inwc(self) -> float:
        return self.return_read

    @property
    def supply_inwc(self) -> float:
        return self.supply_read

    @property
    def tesp_inwc(self) -> float:
        return self.supply_read - self.return_read

    @property
    def valid(self) -> bool:
        """No finding sets the visit aside; an impossible drop sets only the drop aside."""
        asides = {check for check, what in self.findings.items() if what == "set_aside"}
        return not asides - {"component_drop_impossible"}

    @property
    def like_new(self) -> bool:
        return "not_like_new" not in self.findings.values()

    def find(self, check_id: str, consequence: str) -> None:
        self.findings[check_id] = consequence

    def miss(self, total: float) -> float:
        """How far the technician's own total is from this one, both as magnitudes."""
        return abs(abs(self.reported or 0.0) - abs(total))

    def agrees(self, total: float) -> bool:
        """The technician's own total is this total, within 0.02 in. w.c. and its rounding."""
        return self.reported is not None and not beyond(self.miss(total), AGREES + self.reported_rounding)


def check_visit(
    visit: Row, equipment: Row, instrument: Row | None, technicians_visits: Sequence[Row], today: date
) -> Checked:
    """All of section 2 for one visit. `technicians_visits`: the technician's other loaded visits, any days.

    No check of the contract reads the instrument; it is taken so that the call names all that a visit has.
    """
    checked = Checked()
    repair_unit(checked, visit)
    if beyond(max(abs(checked.return_read), abs(checked.supply_read)), NEAR_ZERO):
        repair_signs(checked)
    else:
        checked.find("reading_near_zero", "set_aside")
    compare_total(checked)
    subtract_zeros(checked)
    judge_drops(checked, visit, equipment)
    repair_ports(checked, visit, equipment)
    if beyond(max(abs(checked.return_inwc), abs(checked.supply_inwc)), PLAUSIBLE):
        checked.find("reading_out_of_range", "set_aside")
    find_zero_record(checked, visit, technicians_visits, today)
    find_conditions(checked, visit)
    find_dates(checked, visit, equipment, today)
    find_repeats(checked, visit, technicians_visits)
    return checked


def plausible(readings: tuple[float, float], unit: str) -> bool:
    larger = max(abs(r) for r in readings) * PER_UNIT[unit]
    return beyond(larger, NEAR_ZERO) and not beyond(larger, PLAUSIBLE)


def scaled(value: float | None, unit: str) -> float | None:
    return None if value is None else value * PER_UNIT[unit]


def rounding_of(visit: Row, unit: str) -> float:
    """Half a unit of the last decimal of the reported total, in in. w.c."""
    return min(0.5 * 10.0 ** -(visit.get("reported_decimals") or 0) * PER_UNIT[unit], ROUNDING_CAP)


def read_in(checked: Checked, visit: Row, readings_unit: str, zeros_unit: str, reported_unit: str) -> None:
    """Set every pressure of the row, each read in its unit."""
    checked.unit = readings_unit
    checked.return_read = visit["return_static"] * PER_UNIT[readings_unit]
    checked.supply_read = visit["supply_static"] * PER_UNIT[readings_unit]
    checked.filter_drop = scaled(visit.get("filter_drop"), readings_unit)
    checked.coil_drop = scaled(visit.get("coil_drop"), readings_unit)
    checked.zero_return = scaled(visit.get("zero_return"), zeros_unit)
    checked.zero_supply = scaled(visit.get("zero_supply"), zeros_unit)
    checked.reported = scaled(visit.get("reported_tesp"), reported_unit)
    checked.reported_rounding = rounding_of(visit, reported_unit)


def repair_unit(checked: Checked, visit: Row) -> None:
    """unit_mismatch; the row's unit stands unless the other one of inwc and pa is the only plausible one."""
    row_unit = visit.get("pressure_unit") or "inwc"
    readings = (visit["return_static"], visit["supply_static"])
    read_in(checked, visit, row_unit, row_unit, row_unit)
    if plausible(readings, row_unit) or not any(plausible(readings, unit) for unit in PER_UNIT):
        return
    checked.find("unit_mismatch", "set_aside")
    other = OTHER_UNIT.get(row_unit)
    if other is None or not plausible(readings, other):
        return
    for reported_unit in (other, row_unit):
        read_in(checked, visit, other, other, reported_unit)
        r, t = checked.return_read, checked.supply_read
        if checked.reported is None or checked.agrees(t - r) or checked.agrees(abs(t) + abs(r)):
            break
    else:
        read_in(checked, visit, row_unit, row_unit, row_unit)
        return
    zeros = [z for z in (visit.get("zero_return"), visit.get("zero_supply")) if z is not None]
    in_row, in_other = (
        all(not beyond(abs(z) * PER_UNIT[u], ZERO_LIMIT) for z in zeros) for u in (row_unit, other)
    )
    read_in(checked, visit, other, row_unit if in_row and not in_other else other, reported_unit)
    checked.find("unit_mismatch", "repaired")


def repair_signs(checked: Checked) -> None:
    """return_sign_wrong, supply_sign_wrong, ports_swapped."""
    r, s = checked.return_read, checked.supply_read
    total = abs(r) + abs(s)
    sign_was_dropped = checked.agrees(total) and checked.miss(total) + LAST_BITS < checked.miss(s - r)
    if r > 0 and s > 0:
        checked.find("return_sign_wrong", "repaired" if sign_was_dropped else "set_aside")
        if sign_was_dropped:
            checked.return_read = -r
    elif r < 0 and s < 0:
        checked.find("supply_sign_wrong", "repaired" if sign_was_dropped else "set_aside")
        if sign_was_dropped:
            checked.supply_read = -s
    elif r > 0 and s < 0:
        checked.sides_known = False
        if checked.reported is not None and not checked.agrees(total):
            checked.find("ports_swapped", "set_aside")
            return
        checked.find("ports_swapped", "repaired")
        checked.return_read, checked.supply_read = s, r
        checked.zero_return, checked.zero_supply = checked.zero_supply, checked.zero_return


def compare_total(checked: Checked) -> None:
    """tesp_sum_mismatch."""
    if checked.reported is None:
        return
    miss = abs(checked.reported - checked.tesp_inwc)
    if beyond(miss, AGREES) and beyond(miss, SHARE * abs(checked.tesp_inwc)):
        checked.find("tesp_sum_mismatch", "note")


def subtract_zeros(checked: Checked) -> None:
    """zero_offset_large; a port's missing zero counts as 0."""
    for zero in (checked.zero_return, checked.zero_supply):
        if zero is not None and beyond(abs(zero), ZERO_LIMIT):
            checked.find("zero_offset_large", "set_aside")
    if checked.zero_return is not None and not beyond(abs(checked.zero_return), ZERO_LIMIT):
        checked.return_read -= checked.zero_return
    if checked.zero_supply is not None and not beyond(abs(checked.zero_supply), ZERO_LIMIT):
        checked.supply_read -= checked.zero_supply


def right_ports(equipment: Row) -> tuple[str, str]:
    """What the rating covers decides where TESP is measured."""
    coil_in_rating = equipment.get("coil_in_rating")
    if coil_in_rating is None:
        coil_in_rating = equipment["equipment_kind"] == "fan_coil"
    return (
        "before_filter" if equipment.get("filter_in_rating") else "after_filter",
        "after_coil" if coil_in_rating else "before_coil",
    )


def judge_drops(checked: Checked, visit: Row, equipment: Row) -> None:
    """component_drop_impossible: that drop is not used."""
    right_return, right_supply = right_ports(equipment)
    filter_inside = (visit.get("return_port") or right_return) == "after_filter"
    coil_inside = (visit.get("supply_port") or right_supply) == "before_coil"
    drop = checked.filter_drop
    if drop is not None and (drop < 0 or (filter_inside and beyond(drop, abs(checked.return_read)))):
        checked.find("component_drop_impossible", "set_aside")
        checked.filter_drop = None
    drop = checked.coil_drop
    if drop is not None and (drop < 0 or (coil_inside and beyond(drop, abs(checked.supply_read)))):
        checked.find("component_drop_impossible", "set_aside")
        checked.coil_drop = None


def repair_ports(checked: Checked, visit: Row, equipment: Row) -> None:
    """return_port_wrong, supply_port_wrong."""
    right_return, right_supply = right_ports(equipment)
    if (visit.get("return_port") or right_return) != right_return:
        checked.find("return_port_wrong", "set_aside" if checked.filter_drop is None else "repaired")
        if checked.filter_drop is not None:
            checked.return_read += (
                checked.filter_drop if right_return == "before_filter" else -checked.filter_drop
            )
    if (visit.get("supply_port") or right_supply) != right_supply:
        checked.find("supply_port_wrong", "set_aside" if checked.coil_drop is None else "repaired")
        if checked.coil_drop is not None:
            checked.supply_read += checked.coil_drop if right_supply == "before_coil" else -checked.coil_drop


def find_zero_record(checked: Checked, visit: Row, technicians_visits: Sequence[Row], today: date) -> None:
    """zero_not_recorded, zero_after_reading, zero_stale."""
    zeroed_at, visited_at = visit.get("zeroed_at"), visit["visited_at"]
    if zeroed_at is None:
        if visit.get("zero_return") is None and visit.get("zero_supply") is None:
            checked.find("zero_not_recorded", "set_aside")
        return
    if zeroed_at > visited_at:
        checked.find("zero_after_reading", "set_aside")
    earlier_that_day = [
        other["visited_at"]
        for other in technicians_visits
        if other["visited_on"] == visit["visited_on"]
        and other["visited_at"] < visited_at
        and other["visited_on"] <= today
    ]
    if visited_at - zeroed_at > timedelta(hours=4) or (
        earlier_that_day and zeroed_at < max(earlier_that_day)
    ):
        checked.find("zero_stale", "set_aside")


def find_conditions(checked: Checked, visit: Row) -> None:
    """What the test's own conditions say."""
    if "near_turn" in (visit.get("return_location"), visit.get("supply_location")):
        checked.find("probe_near_turn", "note")
    if visit.get("blower_stage") == "low":
        checked.find("stage_not_high", "set_aside")
    for part in ("filter", "coil", "blower"):
        if visit.get(f"{part}_condition") == "dirty":
            checked.find(f"{part}_dirty", "not_like_new")
    if visit.get("registers") == "some_closed":
        checked.find("registers_closed", "not_like_new")
    if visit.get("holes_plugged") is False:
        checked.find("holes_left_open", "note")


def find_dates(checked: Checked, visit: Row, equipment: Row, today: date) -> None:
    """visit_in_future, visit_before_install, visit_after_retirement."""
    day = visit["visited_on"]
    if day > today:
        checked.find("visit_in_future", "set_aside")
    if equipment.get("installed_on") is not None and day < equipment["installed_on"]:
        checked.find("visit_before_install", "set_aside")
    if equipment.get("retired_on") is not None and day > equipment["retired_on"]:
        checked.find("visit_after_retirement", "set_aside")


def find_repeats(checked: Checked, visit: Row, technicians_visits: Sequence[Row]) -> None:
    """readings_repeated: the same digits at another site within 24 h."""
    if min(visit.get("return_decimals") or 0, visit.get("supply_decimals") or 0) < 3:
        return
    same = ("return_static", "supply_static", "return_decimals", "supply_decimals", "pressure_unit")
    for other in technicians_visits:
        if (
            other["site_id"] != visit["site_id"]
            and abs(other["visited_at"] - visit["visited_at"]) <= timedelta(hours=24)
            and all(other.get(column) == visit.get(column) for column in same)
        ):
            checked.find("readings_repeated", "note")
