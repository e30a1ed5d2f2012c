"""Of a long history some technicians are looked at again each day: in time all are, and what is wrong is found."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from math import ceil

import pytest

from expectations.checks_suite import some_technicians
from expectations.final import look_before_publishing
from pipeline.errors import StageError
from pipeline.stages import RunOrder
from pipeline.warehouse import Warehouse

VISITS_AGAIN = 150


@pytest.fixture
def long(own: Warehouse) -> Warehouse:
    """The history of the small fleet, long by the measure of this setting."""
    own.settings = own.settings.with_values({"look_again_visits": VISITS_AGAIN}, "a test")
    return own


def groups(warehouse: Warehouse) -> int:
    return ceil(warehouse.scalar("SELECT count(*) FROM visit") / VISITS_AGAIN)


def days_that_stop(warehouse: Warehouse, order: RunOrder) -> int:
    """On how many of the days until everybody was looked at a run is stopped."""
    stopped = 0
    for day in range(groups(warehouse)):
        try:
            look_before_publishing(warehouse, replace(order, today=order.today + timedelta(days=day)))
        except StageError:
            stopped += 1
    return stopped


def test_all_of_a_short_history_is_looked_at(own: Warehouse, order: RunOrder) -> None:
    assert some_technicians(own, order.today) == "true"


def test_in_time_each_visit_is_looked_at_once(long: Warehouse, order: RunOrder) -> None:
    seen: list[str] = []
    for day in range(groups(long)):
        some = some_technicians(long, order.today + timedelta(days=day))
        seen += [row[0] for row in long.con.sql(f"SELECT visit_id FROM visit WHERE {some}").fetchall()]
    assert groups(long) > 5
    assert sorted(seen) == [
        row[0] for row in long.con.sql("SELECT visit_id FROM visit ORDER BY ALL").fetchall()
    ]


def test_a_sound_history_passes_on_every_day(long: Warehouse, order: RunOrder) -> None:
    assert days_that_stop(long, order) == 0


def test_check_run_tells_of_all_visits(long: Warehouse, order: RunOrder) -> None:
    long.execute("DROP TABLE IF EXISTS check_run")
    look_before_publishing(long, order)
    told = dict(long.con.sql("SELECT check_id, failing FROM check_run WHERE failing > 0").fetchall())
    assert told == dict(long.con.sql("SELECT check_id, count(*) FROM finding GROUP BY ALL").fetchall())


@pytest.mark.parametrize(("check", "by_technician"), [("filter_dirty", False), ("zero_stale", True)])
def test_a_lost_finding_stops_the_days_that_look_at_it(
    long: Warehouse, order: RunOrder, check: str, by_technician: bool
) -> None:
    """It was never counted, so the counts do not tell."""
    of_check = f"check_id = '{check}'"
    long.execute(f"DELETE FROM finding WHERE rowid = (SELECT min(rowid) FROM finding WHERE {of_check})")
    long.execute(
        "UPDATE finding_count SET n_found = n_found - 1 "
        f"WHERE rowid = (SELECT min(rowid) FROM finding_count WHERE counted_by = 'day' AND {of_check})"
    )
    assert days_that_stop(long, order) == (1 if by_technician else groups(long))


def test_the_last_digits_are_counted_anew(long: Warehouse, order: RunOrder) -> None:
    """The counts that are kept would have everybody stand out."""
    long.execute("UPDATE last_digit_count SET n_visits = 1000, n_end_of_2 = 2000, n_end_of_3 = 2000")
    assert days_that_stop(long, order) == 0
