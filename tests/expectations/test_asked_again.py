"""Of a long history some visits are looked at again each day: in time all are, and what is wrong is found."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from math import ceil

import pytest

from expectations.again import Again, asked_again
from expectations.final import look_before_publishing
from pipeline.checks import all_checks
from pipeline.errors import StageError
from pipeline.stages import RunOrder
from pipeline.warehouse import Warehouse

VISITS_AGAIN = 150


@pytest.fixture
def long(own: Warehouse) -> Warehouse:
    """The history of the small fleet, long by the measure of this setting."""
    own.settings = own.settings.with_values({"look_again_visits": VISITS_AGAIN}, "a test")
    return own


def pieces(warehouse: Warehouse, order: RunOrder) -> int:
    """After how many days the same days are looked at again."""
    first = asked_again(warehouse, order.today).days
    later = (asked_again(warehouse, order.today + timedelta(days=n)).days for n in range(1, 1000))
    return 1 + next(n for n, days in enumerate(later) if days == first)


def groups(warehouse: Warehouse) -> int:
    return ceil(warehouse.scalar("SELECT count(*) FROM visit") / VISITS_AGAIN)


def days_that_stop(warehouse: Warehouse, order: RunOrder, days: int) -> int:
    """On how many of so many days a run is stopped."""
    stopped = 0
    for day in range(days):
        try:
            look_before_publishing(warehouse, replace(order, today=order.today + timedelta(days=day)))
        except StageError:
            stopped += 1
    return stopped


def test_all_of_a_short_history_is_looked_at(own: Warehouse, order: RunOrder) -> None:
    assert asked_again(own, order.today) == Again("true", "true")


@pytest.mark.parametrize("which", ["days", "technicians"])
def test_in_time_each_visit_is_looked_at_once(long: Warehouse, order: RunOrder, which: str) -> None:
    seen: list[str] = []
    turns = groups(long) if which == "technicians" else pieces(long, order)
    for day in range(turns):
        some = getattr(asked_again(long, order.today + timedelta(days=day)), which)
        seen += [row[0] for row in long.con.sql(f"SELECT visit_id FROM visit WHERE {some}").fetchall()]
    assert turns > 5
    assert sorted(seen) == [
        row[0] for row in long.con.sql("SELECT visit_id FROM visit ORDER BY ALL").fetchall()
    ]


def test_days_that_are_looked_at_hold_about_as_many_visits(long: Warehouse, order: RunOrder) -> None:
    busiest = long.scalar("SELECT count(*) AS n FROM visit GROUP BY visited_on ORDER BY n DESC")
    for day in range(pieces(long, order)):
        some = asked_again(long, order.today + timedelta(days=day)).days
        assert long.scalar(f"SELECT count(*) FROM visit WHERE {some}") <= VISITS_AGAIN + busiest


def test_a_check_of_one_visit_finds_among_some_days_what_it_finds_of_these_days(
    long: Warehouse, order: RunOrder
) -> None:
    """A check that compared visits would find otherwise without the others: it has to say `scope: fleet`."""
    again = asked_again(long, order.today)
    for statement in again.set_up(long):
        long.execute(statement)
    of_days = 0
    for check in all_checks():
        if check.scope != "fleet":
            here = f"SELECT visit_id FROM visit WHERE {again.days}"
            whole = f"SELECT visit_id FROM ({check.sql}) SEMI JOIN ({here}) USING (visit_id) ORDER BY ALL"
            some = f"SELECT visit_id FROM ({again.asked(check)}) ORDER BY ALL"
            found = long.con.sql(some).fetchall()
            assert found == long.con.sql(whole).fetchall(), check.check_id
            of_days += len(found)
    assert of_days > 50


def test_a_sound_history_passes_on_every_day(long: Warehouse, order: RunOrder) -> None:
    assert days_that_stop(long, order, groups(long)) == 0


def test_check_run_tells_of_all_visits(long: Warehouse, order: RunOrder) -> None:
    long.execute("DROP TABLE IF EXISTS check_run")
    look_before_publishing(long, order)
    told = dict(long.con.sql("SELECT check_id, failing FROM check_run WHERE failing > 0").fetchall())
    assert told == dict(long.con.sql("SELECT check_id, count(*) FROM finding GROUP BY ALL").fetchall())


@pytest.mark.parametrize("check", ["filter_dirty", "zero_stale"])
def test_a_lost_finding_stops_the_day_that_looks_at_it(long: Warehouse, order: RunOrder, check: str) -> None:
    """It was never counted, so the counts do not tell."""
    of_check = f"check_id = '{check}'"
    long.execute(f"DELETE FROM finding WHERE rowid = (SELECT min(rowid) FROM finding WHERE {of_check})")
    long.execute(
        "UPDATE finding_count SET n_found = n_found - 1 "
        f"WHERE rowid = (SELECT min(rowid) FROM finding_count WHERE counted_by = 'day' AND {of_check})"
    )
    turns = groups(long) if check == "zero_stale" else pieces(long, order)
    assert days_that_stop(long, order, turns) == 1


def test_the_last_digits_are_counted_anew(long: Warehouse, order: RunOrder) -> None:
    """The counts that are kept would have everybody stand out."""
    long.execute("UPDATE last_digit_count SET n_visits = 1000, n_end_of_2 = 2000, n_end_of_3 = 2000")
    assert days_that_stop(long, order, groups(long)) == 0
