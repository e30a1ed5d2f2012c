"""The demo's story: which place has which fault, who works how, what was done. Everything here is invented.

Larkhollow Heating & Air, a made-up contractor, has branches in the made-up towns
Brackenmoor and Saltmarsh End.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

TODAY = date(2026, 11, 20)
START = date(2022, 11, 21)
YEARS = 3.98
BRANCHES = ("Brackenmoor", "Saltmarsh End")
SEED = 2026


@dataclass(frozen=True)
class Place:
    """One site with one unit. Pressures in in. w.c.; `tesp` is the cooling TESP that the ducts are made for.

    `cause`: 0 sound, 1 return, 2 supply, 3 fan set too fast; `expectation` is what a reader should find.
    """

    expectation: str
    kind: str
    visits: int
    tesp: float
    cause: int = 0
    rated: float = 0.5
    motor: int = 0
    tons: float = 3.0
    sound_ratio: float = 0.86
    growth: float = 0.0
    dirty_share: float = 0.07
    filter_share: float = 0.35
    filter_in_rating: bool = False


@dataclass(frozen=True)
class Job:
    """Work at a place: on `part` (0 return duct, 1 filter, 2 coil, 3 supply duct), or a tap lower (-1)."""

    place: int
    done_on: date
    work_kind: str
    part: int = 0
    factor: float = 1.0
    cost: int = 400


@dataclass(frozen=True)
class Person:
    """A technician. `kind` as in crew.KINDS; `rate`: of skipped zeros, or of wrong ports."""

    kind: int
    visits: int
    rate: float = 0.0
    hidden: tuple[float, float] = (0.0, 0.0)
    trained_on: date | None = date(2021, 9, 6)
    gauges: int = 1


def _sound(tesp: float, kind: str = "furnace", rated: float = 0.5, motor: int = 0, **rest: float) -> Place:
    return Place("within_rating", kind, 11, tesp, 0, rated, motor, **rest)  # type: ignore[arg-type]


PLACES: tuple[Place, ...] = (
    # 1-6: return duct too small
    Place("chronic_return", "furnace", 18, 0.86, 1, motor=0),
    Place("chronic_return", "furnace", 17, 0.80, 1, motor=1, tons=4.0),
    Place("chronic_return", "furnace", 17, 0.75, 1, motor=0),
    Place("chronic_return", "furnace", 16, 0.71, 1, motor=2),
    Place("chronic_return", "furnace", 16, 0.67, 1, motor=0, tons=4.0),
    Place("chronic_return", "fan_coil", 15, 0.45, 1, rated=0.3, motor=1),
    # 7-11: supply duct too small
    Place("chronic_supply", "furnace", 17, 0.83, 2, motor=0),
    Place("chronic_supply", "furnace", 16, 0.77, 2, motor=2, tons=4.0),
    Place("chronic_supply", "fan_coil", 16, 0.72, 2, motor=0),
    Place("chronic_supply", "fan_coil", 15, 0.69, 2, motor=1),
    Place("chronic_supply", "fan_coil", 15, 0.46, 2, rated=0.3, motor=1),
    # 12-14: ducts sound, fan set too fast
    Place("chronic_airflow_setting", "furnace", 16, 0.50, 3, motor=1),
    Place("chronic_airflow_setting", "furnace", 16, 0.48, 3, motor=2, tons=4.0),
    Place("chronic_airflow_setting", "fan_coil", 16, 0.51, 3, motor=1),
    # 15: getting worse year by year, on the return
    Place("rising", "furnace", 24, 0.56, 0, motor=0, growth=0.075),
    # 16: high only with a loaded filter
    Place("upkeep", "furnace", 24, 0.445, 0, motor=1, dirty_share=0.60, filter_share=0.45),
    # 17: return enlarged, and it helped
    Place("repaired", "furnace", 24, 0.80, 1, sound_ratio=0.58, motor=0),
    # 18-22: five more enlarged returns
    Place("repaired", "furnace", 17, 0.68, 1, sound_ratio=0.66, motor=0),
    Place("repaired", "furnace", 17, 0.64, 1, sound_ratio=0.66, motor=1, tons=4.0),
    Place("repaired", "fan_coil", 17, 0.66, 1, sound_ratio=0.66, motor=0),
    Place("repaired", "furnace", 17, 0.62, 1, sound_ratio=0.66, motor=2),
    Place("repaired", "fan_coil", 17, 0.65, 1, sound_ratio=0.66, motor=1),
    # 23-27 (and 34): ducts restrapped, to no effect
    Place("work_without_effect", "furnace", 17, 0.43, 0, motor=0),
    Place("work_without_effect", "fan_coil", 17, 0.44, 0, motor=1),
    Place("work_without_effect", "furnace", 17, 0.42, 0, motor=2),
    Place("work_without_effect", "fan_coil", 17, 0.43, 0, motor=0),
    Place("work_without_effect", "furnace", 17, 0.44, 0, motor=1),
    # 28: replaced unit; the new one is sound
    Place("replaced", "furnace", 22, 0.74, 2, motor=0),
    # 29: fan speed lowered
    Place("repaired", "furnace", 17, 0.44, 3, motor=1),
    # 30: near the rating: cannot be told
    Place("uncertain", "furnace", 10, 0.502, 0, motor=0),
    # 31: hardly visited; 32: never
    Place("too_few_visits", "furnace", 2, 0.62, 1, motor=0),
    Place("never_visited", "fan_coil", 0, 0.40, 0, motor=1),
    # 33: filter inside the rating
    Place("within_rating", "fan_coil", 13, 0.40, 0, motor=0, filter_in_rating=True),
    # 34: a sixth restrapping, to no effect
    Place("work_without_effect", "fan_coil", 17, 0.42, 0, motor=1),
    # the rest is sound
    _sound(0.41, "fan_coil", motor=1), _sound(0.36, motor=2), _sound(0.43, "fan_coil"),
    _sound(0.24, "fan_coil", 0.3, 1), _sound(0.65, "furnace", 0.8, 0), _sound(0.40, motor=1),
    _sound(0.34, "fan_coil", motor=2), _sound(0.42), _sound(0.25, "fan_coil", 0.3, 1),
    _sound(0.61, "furnace", 0.8, 0), _sound(0.39, "fan_coil"), _sound(0.37, motor=1), _sound(0.44, tons=4.0),
    _sound(0.35, "fan_coil", motor=2),
)  # fmt: skip

REPLACED_PLACE = 27
REPLACED_ON = date(2024, 12, 9)
SUCCESSOR_TESP = 0.41

JOBS: tuple[Job, ...] = (
    Job(16, date(2024, 10, 14), "return_enlarged", 0, 0.28, 1240),
    Job(17, date(2024, 8, 5), "return_enlarged", 0, 0.45, 890),
    Job(18, date(2025, 2, 17), "return_enlarged", 0, 0.50, 760),
    Job(19, date(2024, 11, 4), "return_enlarged", 0, 0.45, 815),
    Job(20, date(2025, 1, 20), "return_enlarged", 0, 0.50, 690),
    Job(21, date(2024, 9, 30), "return_enlarged", 0, 0.45, 905),
    Job(22, date(2024, 10, 7), "duct_restrapped", cost=240),
    Job(23, date(2024, 12, 2), "duct_restrapped", cost=180),
    Job(24, date(2024, 11, 11), "duct_restrapped", cost=260),
    Job(25, date(2024, 9, 23), "duct_restrapped", cost=210),
    Job(26, date(2024, 10, 21), "duct_restrapped", cost=195),
    Job(33, date(2024, 11, 25), "duct_restrapped", cost=230),
    Job(28, date(2024, 9, 16), "fan_speed_lowered", -1, 1.0, 95),
    Job(REPLACED_PLACE, REPLACED_ON, "equipment_replaced", cost=6400),
    Job(15, date(2024, 5, 13), "filter_changed", cost=35),
    Job(15, date(2025, 11, 3), "filter_changed", cost=35),
    Job(35, date(2025, 6, 11), "other", cost=60),
)

CREW: tuple[Person, ...] = (
    Person(0, 56),
    Person(0, 52, gauges=2),
    Person(1, 58, rate=0.55, trained_on=None),  # T03 skips zeroing
    Person(0, 54),
    Person(1, 60, rate=0.62, trained_on=date(2025, 5, 12)),  # T05 skipped until the training
    Person(2, 74, hidden=(-0.052, 0.018)),  # T06 zeroes on paper
    Person(0, 55),
    Person(3, 58, rate=0.42),  # T08 probes wrong ports
    Person(0, 57),
    Person(0, 52),
    Person(0, 54, gauges=2),
    Person(1, 9, rate=0.55, trained_on=None),  # T12 is new: too few visits to be named
)

LABEL_FIRST = ("Heron", "Larch", "Quarry", "Otter", "Bramble", "Kestrel", "Foundry", "Willow")
LABEL_SECOND = ("Court", "Lodge", "Row", "Mill", "Terrace", "Yard")
HOSTILE_LABELS = {
    3: "<b>Heron</b> Annex & 'Sons'",
    8: 'The "Old" Dairy; rear',
    20: "Kestrel Loft 🏠",
    34: "=SUM(A1:A9)",
    40: "</script><i>Mill</i>",
}
HOSTILE_NOTES = {
    40: 'grille says "do not block"',
    120: "</script><script>alert(1)</script>",
    201: "first line\nsecond line, with a comma",
    333: "straße, naïve, 温度, 🙂; <b>bold</b>",
    410: "x" * 400,
}
