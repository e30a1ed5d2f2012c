"""The stretch between works that a visit belongs to, against the contract's words worked out in Python."""

from __future__ import annotations

import random
from bisect import bisect_right
from collections import defaultdict
from datetime import date, timedelta
from pathlib import Path

import polars as pl
import pytest

from pipeline.simulate import make_fleet_command
from pipeline.stages import RunOrder, check_stage, load_stage, static_stage
from pipeline.warehouse import Warehouse
from tests.conftest import FIELD_TODAY

KINDS = ("return_enlarged", "coil_cleaned", "equipment_replaced", "filter_changed", "other")


@pytest.fixture(scope="module")
def rows(tmp_path_factory: pytest.TempPathFactory) -> tuple[pl.DataFrame, pl.DataFrame]:
    """Visits as measured, and works: none or many a unit, some on a visit's day, twice a day, in the future."""
    drop = tmp_path_factory.mktemp("stretches") / "drop"
    make_fleet_command(drop, 40, 900, 3)
    units = pl.read_csv(drop / "equipment.csv")["equipment_id"].to_list()
    draw = random.Random(5)
    with (drop / "work_more.csv").open("w", encoding="utf-8") as file:
        file.write("work_id,equipment_id,done_on,work_kind\n")
        for number in range(150):
            unit, kind = draw.choice(units[::2]), draw.choice(KINDS)
            day = date(2018, 1, 1) + timedelta(days=draw.randrange(3400))
            file.write(f"M{number},{unit},{day},{kind}\nN{number},{unit},{day},{draw.choice(KINDS)}\n")
    visits = pl.concat(
        [
            pl.read_csv(f, infer_schema=False).select("equipment_id", "visited_at")
            for f in drop.glob("visits*.csv")
        ]
    )
    with (drop / "work_same_day.csv").open("w", encoding="utf-8") as file:
        file.write("work_id,equipment_id,done_on,work_kind\n")
        for number, (unit, at) in enumerate(visits.gather_every(9).iter_rows()):
            file.write(f"S{number},{unit},{at[:10]},{draw.choice(KINDS)}\n")
    return _measured(drop, drop.parent / "out")


def _measured(drop: Path, into: Path) -> tuple[pl.DataFrame, pl.DataFrame]:
    into.mkdir()
    order = RunOrder((drop,), into, FIELD_TODAY)
    with Warehouse(order.work_file) as warehouse:
        for stage in (load_stage, check_stage, static_stage):
            stage(warehouse, order)
        return warehouse.query("SELECT * FROM visit_static"), warehouse.query("SELECT * FROM work")


def test_every_visit_is_in_the_stretch_that_the_works_before_it_make(
    rows: tuple[pl.DataFrame, pl.DataFrame],
) -> None:
    visits, works = rows
    days: dict[str, set[date]] = defaultdict(set)
    for unit, day, kind in works.select("equipment_id", "done_on", "work_kind").iter_rows():
        if kind not in ("other", "filter_changed") and day <= FIELD_TODAY:
            days[unit].add(day)
    seen: dict[tuple[bool, bool], int] = defaultdict(int)
    columns = ("equipment_id", "visited_on", "segment", "on_work_day", "since_last_work", "last_work_on")
    for unit, visited, *found in visits.select(columns).iter_rows():
        done = sorted(days[unit])
        before = bisect_right(done, visited)
        on_day = visited in days[unit]
        since = before == len(done) and not on_day
        assert found == [before, on_day, since, done[-1] if done else None], (unit, visited)
        seen[on_day, since] += 1
    assert visits["segment"].max() >= 3
    assert min(seen[True, False], seen[False, True], seen[False, False]) > 20, "a case hardly occurs"
