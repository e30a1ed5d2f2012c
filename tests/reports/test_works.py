"""The latest works with what was read before and after, and the work behind a change: against plain Python."""

from __future__ import annotations

from datetime import date, timedelta
from pathlib import Path
from statistics import mean

import duckdb
import pytest

from reports import draw
from reports.queries import Published
from tests.reports.published import TODAY, write_published
from tests.reports.reading import read_page

UNIT = "E0004"


def test_before_and_after_a_work_are_the_visits_between_its_neighbours(tmp_path: Path) -> None:
    file = write_published(tmp_path / "fleet.duckdb", sites=84)
    done = TODAY - timedelta(days=300)
    with duckdb.connect(str(file)) as con:
        con.execute("INSERT INTO work VALUES ('W9', ?, ?, 'other', 1)", [UNIT, done + timedelta(days=90)])
        con.execute(
            "INSERT INTO work VALUES ('W8', ?, ?, 'coil_cleaned', 1)", [UNIT, done - timedelta(days=350)]
        )
        seen = con.execute(
            "SELECT mode, visited_on, tesp_inwc FROM visit_static WHERE valid AND like_new AND equipment_id = ?",
            [UNIT],
        ).fetchall()
    begun = done - timedelta(days=350)
    trigger = max(on for _, on, _ in seen if begun < on < done)
    published = Published.open(file)
    rows = {row["mode"]: row for row in published.rows("latest_works", top=12) if row["work_id"] == "W0002"}
    published.close()
    wanted: dict[str, tuple[list[float], list[float]]] = {}
    for mode, on, tesp in seen:
        before, after = wanted.setdefault(mode, ([], []))
        if begun < on < trigger:
            before.append(tesp)
        elif on > done:
            after.append(tesp)
    assert set(rows) == {mode for mode, (_, after) in wanted.items() if after}
    assert any(before for before, _ in wanted.values())
    for mode, row in rows.items():
        before, after = wanted[mode]
        assert row["n_visits_before"] == len(before)
        assert row["n_visits_after"] == len(after)
        assert row["after_inwc"] == pytest.approx(mean(after))
        if before:
            assert row["before_inwc"] == pytest.approx(mean(before))
            assert row["shift_inwc"] == pytest.approx(mean(after) - mean(before))


def test_a_work_without_visits_of_its_own_takes_no_others_place(tmp_path: Path) -> None:
    """Where the next work came before anybody measured, visits tell of both together."""
    file = write_published(tmp_path / "fleet.duckdb", sites=84)
    earlier = "equipment_id = 'E0005' AND valid AND like_new AND visited_on > DATE '2023-01-01'"
    told = []
    for change in (
        "INSERT INTO work_follow_up BY NAME SELECT * REPLACE ('W7' AS work_id, 'E0005' AS equipment_id, "
        "DATE '2023-01-01' AS done_on, (SELECT min(visited_on) FROM visit_reading WHERE "
        f"{earlier}) AS measured_on) FROM work_follow_up WHERE work_id = 'W0002'",
        "INSERT INTO work SELECT 'W9', equipment_id, measured_on, 'coil_cleaned', 1 FROM work_follow_up "
        "WHERE work_id = 'W0002'",
    ):
        with duckdb.connect(str(file)) as con:
            con.execute(change)
        published = Published.open(file)
        told.append({row["work_id"] for row in published.rows("latest_works", top=1)})
        published.close()
    assert told == [{"W0002"}, {"W7"}]


def test_works_of_one_day_name_each_other(tmp_path: Path) -> None:
    """Of kinds that begin a new stretch: what a changed filter did is no part of the like-new static."""
    file = write_published(tmp_path / "fleet.duckdb", sites=84)
    done = TODAY - timedelta(days=300)
    with duckdb.connect(str(file)) as con:
        (kind,) = con.sql("SELECT work_kind FROM work WHERE work_id = 'W0002'").fetchall()[0]
        others = sorted({"coil_cleaned", "fan_speed_changed", "return_enlarged"} - {kind})
        for i, other in enumerate((*others, *others, "filter_changed", kind)):
            con.execute(f"INSERT INTO work VALUES ('X{i}', ?, ?, ?, 1)", [UNIT, done, other])
    published = Published.open(file)
    rows = [row for row in published.rows("latest_works", top=12) if row["work_id"] == "W0002"]
    published.close()
    assert {row["same_day"] for row in rows} == {"+".join(others)}
    draw(file, tmp_path / "reports")
    said = " ".join(read_page(tmp_path / "reports" / "operations.html").text.split())
    assert f"with {others[0].replace('_', ' ')}, {others[1].replace('_', ' ')}" in said


def test_nobody_waits_for_a_visit_to_a_retired_unit(tmp_path: Path) -> None:
    file = write_published(tmp_path / "fleet.duckdb", sites=84)
    waiting = []
    for retires in (False, True):
        with duckdb.connect(str(file)) as con:
            if retires:
                con.execute(
                    "UPDATE equipment SET retired_on = DATE '2020-01-01' WHERE equipment_id = 'E0007'"
                )
            else:
                con.execute(
                    "INSERT INTO work_follow_up BY NAME SELECT * REPLACE ('W8' AS work_id, 'E0007' AS equipment_id, "
                    "'not_yet_due' AS follow_up) FROM work_follow_up LIMIT 1"
                )
        published = Published.open(file)
        waiting.append(published.rows("latest_works", top=12).one_of("n_waiting"))
        published.close()
    assert waiting[0] - waiting[1] == 1


@pytest.mark.parametrize(
    ("change", "state", "done_on", "named"),
    [
        ("better", "within_rating", date(2026, 3, 20), True),
        (
            "better",
            "within_rating",
            date(2026, 2, 20),
            False,
        ),  # before the publication that it is compared with
        ("to_confirm", "too_few_visits", date(2026, 2, 20), True),  # recorded late
        ("to_confirm", "uncertain", date(2026, 2, 20), False),
        ("better", "within_rating", TODAY + timedelta(days=1), False),
    ],
)
def test_a_change_names_the_work_that_may_have_done_it(
    change: str, state: str, done_on: date, named: bool, tmp_path: Path
) -> None:
    file = write_published(tmp_path / "fleet.duckdb", sites=84)
    with duckdb.connect(str(file)) as con:
        con.execute("DELETE FROM work; DELETE FROM site_change WHERE equipment_id <> 'E0004'")
        con.execute("UPDATE site_change SET change = ?, state = ?", [change, state])
        con.execute("INSERT INTO work VALUES ('W9', ?, ?, 'return_enlarged', 1)", [UNIT, done_on])
        con.execute("INSERT INTO work VALUES ('W8', ?, ?, 'filter_changed', 1)", [UNIT, TODAY])
    published = Published.open(file)
    rows = list(published.rows("changed_units", top=12))
    published.close()
    assert rows
    assert {row["work_kind"] for row in rows} == ({"return_enlarged"} if named else {None})


def test_the_page_tells_the_latest_works_and_what_the_effect_costs(tmp_path: Path) -> None:
    file = write_published(tmp_path / "fleet.duckdb", sites=84)
    draw(file, tmp_path / "reports")
    text = " ".join(read_page(tmp_path / "reports" / "operations.html").text.split())
    assert (
        "Median cost of 0.1 in. w.c. less, in the currency of the costs: return enlarged 342 (11 pairs)."
        in text
    )
    assert "The latest works: before, after, visits since" in text
    assert "supply repaired" in text
