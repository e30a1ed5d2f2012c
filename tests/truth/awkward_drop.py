"""A drop of visits made to sit on every edge of the checks: limits met exactly, units mixed, totals that half agree.

Not like a contractor's export: each value is drawn from a short list of awkward ones, so that combinations no
one thought of turn up. Invented, seeded.
"""

from __future__ import annotations

import csv
import random
from collections.abc import Sequence
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

TODAY = date(2026, 4, 1)
INWC = (0.0, 0.01, 0.019, 0.02, 0.021, 0.03, 0.2, 0.22, 0.31, 0.5, 1.0, 2.49, 2.5, 2.501, 2.6)
PA = (0.0, 2.0, 4.9, 5.1, 30.0, 55.0, 77.0, 125.0, 622.0, 623.0, 700.0)
MMWC = (0.4, 0.6, 5.6, 7.9, 63.5, 63.6)
ZEROS = (None, None, 0.0, 0.001, -0.004, 0.02, -0.02, 0.021, 0.6, -2.0, 5.2)
DROPS = (None, None, 0.0, 0.05, 0.22, 0.23, -0.01, 14.0, 78.0)
PASCALS, MILLIMETRES = 249.08891, 25.4

EQUIPMENT = (
    # id, kind, filter in rating, coil in rating, design return, design supply, table
    ("furnace", "furnace", "false", "", "", "", "t"),
    ("furnace_designed", "furnace", "", "", "-0.2", "0.25", "t"),
    ("furnace_with_coil", "furnace", "false", "true", "", "0.3", ""),
    ("fan_coil", "fan_coil", "true", "", "", "", "t"),
    ("fan_coil_bare", "fan_coil", "false", "false", "-0.1", "0.5", "t"),
)
TABLE = (
    (0.1, 1150.0, None),
    (0.3, 1045.0, 410.0),
    (0.5, 950.0, 390.0),
    (0.7, 975.0, 380.0),
    (1.5, 500.0, 300.0),
)


def text(value: float | None, decimals: int) -> str:
    return "" if value is None else f"{value:.{decimals}f}"


def reported(rng: random.Random, r: float, s: float, unit: str) -> float | None:
    """A total that agrees with the readings in one way or another, exactly, at the edge of 0.02, or not at all."""
    in_unit = rng.choice((s - r, abs(s) + abs(r), s - r, abs(s - r), None))
    if in_unit is None:
        return rng.choice((None, 0.53, 132.0))
    in_unit *= rng.choice((1, 1, 1, 1 / PASCALS, PASCALS, MILLIMETRES))
    off = rng.choice((0.0, 0.0, 0.02, -0.02, 0.024, 0.026, 0.031, 0.1)) * (PASCALS if unit == "pa" else 1)
    return in_unit + off


def visit_row(rng: random.Random, i: int, last_at: datetime) -> tuple[list[object], datetime]:
    unit = rng.choice(("inwc", "inwc", "inwc", "pa", "pa", "mmwc", ""))
    grid = rng.choice((INWC, INWC, PA, MMWC))
    decimals = rng.choice((1, 2, 3, 3))
    r, s = (round(rng.choice(grid) * rng.choice((-1, 1)), decimals) for _ in range(2))
    if rng.random() < 0.5:
        r, s = -abs(r), abs(s)
    at = last_at + timedelta(minutes=rng.choice((3, 20, 200, 700, 1440, 20_000)))
    zeroed = rng.choice(
        (None, at, at - timedelta(minutes=2), at - timedelta(minutes=30), at - timedelta(hours=4))
    )
    if rng.random() < 0.2:
        zeroed = at + rng.choice((timedelta(seconds=1), -timedelta(hours=4, seconds=1)))
    equipment = rng.choice(EQUIPMENT)[0]
    total = reported(rng, r, s, unit)
    row = [
        f"v{i:05d}", f"s_{equipment}", equipment, f"tech{i % 3}", "m", at.isoformat(),
        rng.choice(("cooling", "heating")), rng.choice(("", "", "high", "low")), rng.choice(("", "", "high", "odd")),
        "" if zeroed is None else zeroed.isoformat(), text(rng.choice(ZEROS), 3), text(rng.choice(ZEROS), 3),
        rng.choice(("", "before_filter", "after_filter")), rng.choice(("", "before_coil", "after_coil")),
        text(r, decimals), text(s, decimals), text(rng.choice(DROPS), 3), text(rng.choice(DROPS), 3),
        text(total, rng.choice((0, 1, 2, 3))), unit, rng.choice(("", "straight_run", "near_turn")), "",
        rng.choice(("", "", "clean", "dirty")), rng.choice(("", "", "clean", "dirty")), rng.choice(("", "dirty")),
        rng.choice(("", "open", "some_closed")), rng.choice(("", "true", "false")),
        rng.choice(("", "", "900", "0")), rng.choice(("", "", "350")),
    ]  # fmt: skip
    return row, at


VISIT_COLUMNS = (
    "visit_id,site_id,equipment_id,technician_id,instrument_id,visited_at,mode,blower_stage,tap,zeroed_at,zero_return,"
    "zero_supply,return_port,supply_port,return_static,supply_static,filter_drop,coil_drop,reported_tesp,pressure_unit,"
    "return_location,supply_location,filter_condition,coil_condition,blower_condition,registers,holes_plugged,"
    "airflow_cfm,motor_power_w"
)


def write(path: Path, columns: str, rows: Sequence[Sequence[object]]) -> None:
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file)
        writer.writerow(columns.split(","))
        writer.writerows(rows)


def make_awkward_drop(folder: Path, n_visits: int, seed: int) -> Path:
    """Write the drop's files into `folder` and give it back."""
    rng = random.Random(seed)
    folder.mkdir(parents=True, exist_ok=True)
    at = datetime(2024, 1, 8, 14, 0, tzinfo=UTC)
    visits = []
    for i in range(n_visits):
        row, at = visit_row(rng, i, at if at.date() < TODAY else datetime(2025, 1, 8, 14, 0, tzinfo=UTC))
        visits.append(row)
        if i % 40 == 0:  # the same readings at another site an hour later
            other = rng.choice(EQUIPMENT)[0]
            later = (at + timedelta(hours=rng.choice((1, 23, 25)))).isoformat()
            visits.append([f"w{i:05d}", f"s_{other}", other, *row[3:5], later, *row[6:]])
    visits += [
        [f"x{i}", *visits[i][1:5], f"2026-04-0{1 + i}T14:00:00+00:00", *visits[i][6:]] for i in range(3)
    ]
    write(folder / "visits.csv", VISIT_COLUMNS, visits)
    write(folder / "sites.csv", "site_id,branch,elevation_ft",
          [(f"s_{e[0]}", "North", 1000 * i) for i, e in enumerate(EQUIPMENT)])  # fmt: skip
    write(
        folder / "equipment.csv",
        "equipment_id,site_id,equipment_kind,filter_in_rating,coil_in_rating,design_return_inwc,design_supply_inwc,"
        "blower_table_id,rated_tesp_inwc,cooling_tap,design_cooling_cfm,design_heating_cfm,installed_on,retired_on",
        [(e[0], f"s_{e[0]}", *e[1:], 0.5, "high", 1000, "", "2024-02-01", "2026-02-01") for e in EQUIPMENT],
    )
    write(
        folder / "blower_tables.csv",
        "blower_table_id,tap,external_static_inwc,airflow_cfm,power_w",
        [("t", "high", x, q, "" if w is None else w) for x, q, w in TABLE],
    )
    write(folder / "technicians.csv", "technician_id,branch", [(f"tech{i}", "North") for i in range(3)])
    write(folder / "instruments.csv", "instrument_id", [("m",)])
    return folder
