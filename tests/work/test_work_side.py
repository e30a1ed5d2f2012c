"""Which visits stand before and after a work, and which works make a pair: by hand (data contract, sections 3 and 4,
work_effect: same equipment and mode, the visit that triggered the work is no baseline)."""

from __future__ import annotations

from datetime import date, timedelta

import polars as pl
import pytest

from pipeline.warehouse import Warehouse

DAY_0 = date(2025, 1, 1)
TODAY = DAY_0 + timedelta(400)
BEFORE, AFTER = (0, 20, 40), (120, 140)  # the last before is the trigger
COOLING = 0  # unit_no of the first equipment; its heating is 1

PRIOR_VARIANCE = 4e-4  # in. w.c. squared, between visits

Work = tuple[str, int, str, float | None]  # id, day, kind, cost


def pairs_of(works: list[Work], visits: list[tuple[int, int, float]] | None = None) -> pl.DataFrame:
    """work_side of works on one unit rated 0.5; visits (unit_no, day, TESP) are 0.8 before and 0.4 after by default."""
    if visits is None:
        visits = [(COOLING, day, 0.8) for day in BEFORE] + [(COOLING, day, 0.4) for day in AFTER]
    with Warehouse() as warehouse:
        warehouse.set_variable("today", TODAY, "DATE")
        warehouse.execute("CREATE SCHEMA IF NOT EXISTS staging")
        warehouse.execute("CREATE TABLE equipment AS SELECT 'E1' AS equipment_id, 0.5 AS rated_tesp_inwc")
        warehouse.execute(
            "CREATE TABLE staging.equipment_facts AS SELECT 'E1' AS equipment_id, 0::INTEGER AS equipment_no"
        )
        warehouse.store(
            "work",
            pl.DataFrame(
                [(name, "E1", DAY_0 + timedelta(day), kind, cost) for name, day, kind, cost in works],
                schema={
                    "work_id": pl.String,
                    "equipment_id": pl.String,
                    "done_on": pl.Date,
                    "work_kind": pl.String,
                    "cost": pl.Float64,
                },
                orient="row",
            ),
        )
        warehouse.store(
            "comparable_visit",
            pl.DataFrame(
                [(unit, DAY_0 + timedelta(day), tesp) for unit, day, tesp in visits],
                schema={"unit_no": pl.Int32, "visited_on": pl.Date, "tesp_inwc": pl.Float64},
                orient="row",
            ),
        )
        warehouse.run("work/work_side.sql")
        return warehouse.query("FROM work_side ORDER BY work_id, unit_no")


def test_the_trigger_is_no_baseline() -> None:
    visits = [(0, 0, 0.7), (0, 20, 0.8), (0, 40, 1.5), (0, 100, 9.9), (0, 120, 0.4), (0, 140, 0.6)]
    (row,) = pairs_of([("W", 100, "return_enlarged", 90.0)], visits).to_dicts()
    assert row["before_inwc"] == pytest.approx(0.75)  # day 40 is left out
    assert row["after_inwc"] == pytest.approx(0.5)  # nor does a visit on the work's day count
    assert (row["n_before"], row["within_before"], row["within_after"]) == (2, False, True)


def test_modes_apart_and_neighbouring_works_bound_the_visits() -> None:
    visits = [(unit, day, 0.8) for unit in (0, 1) for day in (0, 20, 40)]
    visits += [(0, 120, 0.4), (0, 210, 0.9), (1, 210, 0.9)]
    works = [
        ("W1", 100, "coil_cleaned", None),
        ("W2", 200, "return_enlarged", None),
        ("W3", 150, "other", None),
    ]
    rows = pairs_of(works, visits)
    # heating was seen after W2 only, whose baseline begins after W1; one visit before W2 is its trigger
    assert rows.select("work_id", "unit_no").rows() == [("W1", 0)]


def test_work_to_come_makes_no_pair() -> None:
    assert pairs_of([("W", 100, "return_enlarged", None)]).height == 1
    assert pairs_of([("W", 401, "return_enlarged", None)]).is_empty()


def test_two_kinds_on_one_day_cannot_be_told_apart() -> None:
    works: list[Work] = [("W1", 100, "return_enlarged", 1.0), ("W2", 100, "coil_cleaned", 1.0)]
    assert pairs_of(works).is_empty()


@pytest.mark.parametrize("beside", ["filter_changed", "other"])
def test_what_starts_no_stretch_takes_no_credit_and_takes_none_away(beside: str) -> None:
    rows = pairs_of([("W1", 100, beside, 1.0), ("W2", 100, "return_enlarged", 2.0)])
    assert rows["work_id"].to_list() == ["W2"]


def test_one_job_written_down_twice_is_one_pair() -> None:
    works: list[Work] = [
        ("W2", 100, "return_enlarged", 700.0),
        ("W1", 100, "return_enlarged", 200.0),
        ("W3", 100, "return_enlarged", None),
    ]
    (row,) = pairs_of(works).to_dicts()
    assert (row["work_id"], row["cost"]) == ("W1", 900.0)


def shift_of(levels: list[float]) -> float:
    """The shift of a work from 0.8 (three visits) to 0.4, in a fleet of units with these levels (four visits each)."""
    with Warehouse() as warehouse:
        warehouse.set_variable("scatter_prior_variance", PRIOR_VARIANCE, "DOUBLE")
        schema = {"level_inwc": pl.Float64, "n": pl.Int64}
        warehouse.store("level_scatter", pl.DataFrame([(x, 4) for x in levels], schema=schema, orient="row"))
        side = {"work_id": "W", "work_kind": "return_enlarged", "cost": 1.0, "n_before": 3}
        side |= {"before_inwc": 0.8, "after_inwc": 0.4, "within_before": False, "within_after": True}
        warehouse.store("work_side", pl.DataFrame([side]))
        warehouse.run("work/work_pair.sql")
        return float(warehouse.scalar("SELECT shift_inwc FROM work_pair"))


@pytest.mark.parametrize("levels", [[], [0.9]])
def test_a_fleet_that_shows_no_spread_draws_no_baseline(levels: list[float]) -> None:
    """One unit has no variance between units; its own level is no baseline of another's work."""
    assert shift_of(levels) == pytest.approx(0.4 - 0.8)


def test_the_baseline_is_drawn_as_far_as_its_scatter_says() -> None:
    between = 0.02 - PRIOR_VARIANCE / 4  # variance of 0.4 and 0.6 less that of a mean of four visits
    drawn = 0.5 + (0.8 - 0.5) * between / (between + PRIOR_VARIANCE / 3)
    assert shift_of([0.4, 0.6]) == pytest.approx(0.4 - drawn)
