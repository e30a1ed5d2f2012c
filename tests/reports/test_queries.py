"""Questions to a published file: what pages share is made once, and counted rightly."""

from __future__ import annotations

import shutil
from collections import Counter
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from datetime import date
from pathlib import Path
from threading import Barrier

import duckdb
import pytest

import reports
from pipeline.errors import StageError, UsageError
from reports import caps, draw, queries
from reports.queries import Made, Published
from tests.conftest import FIELD_TODAY
from tests.reports.published import LISTS, write_published


@pytest.fixture
def published(published_file: Path) -> Iterator[Published]:
    opened = Published.open(published_file)
    yield opened
    opened.close()


def test_what_many_ask_for_is_made_once() -> None:
    made, calls, together = Made(), Counter[str](), Barrier(4)

    def make() -> int:
        calls["made"] += 1
        return calls["made"]

    def ask(_: int) -> int:
        together.wait()
        answer: int = made.once("it", make)
        return answer

    with ThreadPoolExecutor(4) as pool:
        assert list(pool.map(ask, range(4))) == [1] * 4
    made.forget("it")
    assert made.once("it", make) == 2


def test_an_error_reaches_everyone_who_waits() -> None:
    made = Made()

    def fail() -> None:
        raise StageError("no")

    for _ in range(2):
        with pytest.raises(StageError, match="no"):
            made.once("it", fail)


def test_a_connection_beside_has_the_same_tables_and_clock(published: Published) -> None:
    beside = published.beside()
    asked = "SELECT current_database(), current_setting('TimeZone')"
    assert beside.con.sql(asked).fetchall() == published.con.sql(asked).fetchall() == [("fleet", "UTC")]
    first, second = (p.rows("check_trend", months=caps.MONTHS).frame for p in (published, beside))
    assert first is second
    beside.close()


@pytest.mark.parametrize("query", ["upkeep", "visits_wanted"])
def test_the_first_rows_of_a_longer_list_are_the_shorter_one(query: str, tmp_path: Path) -> None:
    file = write_published(tmp_path / "fleet.duckdb", sites=84)
    with duckdb.connect(str(file)) as con:  # gaps that tie, so that their order is told by the units
        con.execute("UPDATE site_static SET as_found_level_inwc = rated_tesp_inwc + 0.25")
        con.execute(LISTS)
    made = Published.open(file)
    short = made.rows(query, top=3)
    of_long = made.rows(query, top=3, of=caps.SHEET_ROWS)
    assert len(made.rows(query, top=caps.SHEET_ROWS)) > len(short) == 3
    assert of_long.frame.equals(short.frame)
    assert of_long.variables == {"top": 3}
    made.close()


def test_lists_and_counts_leave_out_what_is_retired(tmp_path: Path) -> None:
    file = write_published(tmp_path / "fleet.duckdb", sites=84)
    with duckdb.connect(str(file)) as con:
        chronic = con.sql(
            "SELECT DISTINCT equipment_id FROM site_static WHERE static_state = 'chronic' ORDER BY 1 LIMIT 2"
        ).fetchall()
        for (unit,) in chronic:
            con.execute("UPDATE site_static SET in_service = FALSE WHERE equipment_id = ?", [unit])
        con.execute(LISTS)
        stated = con.sql("SELECT site_id, static_state FROM site_static WHERE in_service").fetchall()
        units = con.sql("SELECT DISTINCT equipment_id FROM site_static WHERE in_service").fetchall()
        sites = {site for (site,) in con.sql("SELECT site_id FROM site").fetchall()}
        with_equipment = {site for (site,) in con.sql("SELECT site_id FROM equipment").fetchall()}
    made = Published.open(file)
    gone = {unit for (unit,) in chronic}
    for query, variables in (("find_site", {"top": 2500}), ("fleet_picture", {"points": 1200})):
        shown = set(made.rows(query, **variables).frame["equipment_id"])
        assert shown
        assert not shown & gone
    assert sum(row["n_units"] for row in made.rows("branches", top=60)) == len(units)
    states = made.rows("fleet_state")
    chronic_sites = {site for site, state in stated if state == "chronic"}
    assert sum(row["n_sites"] for row in states.where("fleet_state", "chronic")) == len(chronic_sites)
    counted = {row["fleet_state"]: row["n_sites"] for row in states if row["fleet_state"] != "chronic"}
    assert counted["not_measured"] == len(with_equipment - {site for site, _ in stated}) > 0
    assert counted["not_in_service"] == len(sites - with_equipment) > 0
    assert sum(row["n_sites"] for row in states) == len(sites)
    made.close()


def test_a_site_whose_equipment_is_retired_is_not_to_be_measured(tmp_path: Path) -> None:
    """Retired equipment leaves the lists (data contract, section 4); its site keeps a place in the count of all."""
    file = write_published(tmp_path / "fleet.duckdb", sites=84)
    counts = []
    for retires in (False, True):
        with duckdb.connect(str(file)) as con:
            if retires:
                gone = "site_id = 'S0003'"
                con.execute(f"UPDATE equipment SET retired_on = DATE '2020-01-01' WHERE {gone}")
                con.execute(f"UPDATE site_static SET in_service = FALSE WHERE {gone}")
                con.execute(LISTS)
        made = Published.open(file)
        states: Counter[str] = Counter()
        for row in made.rows("fleet_state"):
            states[row["fleet_state"]] += row["n_sites"]
        counts.append(states)
        made.close()
    assert counts[1]["not_in_service"] == counts[0]["not_in_service"] + 1
    assert counts[1]["not_measured"] == counts[0]["not_measured"]
    assert counts[1].total() == counts[0].total()


def test_nobody_is_asked_to_measure_after_work_on_a_retired_unit(tmp_path: Path) -> None:
    """Retired equipment leaves the lists (data contract, section 4), on the day of retirement already."""
    file = write_published(tmp_path / "retired.duckdb")
    for day, n in (("DATE '2099-01-01'", 1), ("NULL", 1), ("(SELECT today FROM publication)", 0)):
        with duckdb.connect(str(file)) as con:
            con.execute(f"UPDATE equipment SET retired_on = {day} WHERE equipment_id = 'E0001'")
        made = Published.open(file)
        assert len(made.rows("work_not_measured", top=30)) == n
        made.close()


def _counted(
    file: Path, today: date
) -> tuple[dict[tuple[object, ...], list[int]], dict[tuple[object, ...], int]]:
    """Visits with their fates, and findings, by grouping and member: counted visit by visit, in Python."""
    with duckdb.connect(str(file), read_only=True) as con:
        branch_of = dict(con.sql("SELECT site_id, branch FROM site").fetchall())
        visits = con.sql(
            "SELECT visit_id, site_id, technician_id, instrument_id, visited_on, valid, like_new, repairs "
            "FROM visit_static"
        ).fetchall()
        found = con.sql("SELECT visit_id, check_id FROM finding").fetchall()
    counts: dict[tuple[object, ...], list[int]] = {}
    members_of = {}
    for visit_id, site_id, technician, instrument, on, valid, like_new, repairs in visits:
        members = [("branch", None, branch_of[site_id]), ("technician", None, technician)]
        members += [("instrument", None, instrument)]
        members += [("month", on.replace(day=1), "")] if on <= today else []
        members_of[visit_id] = members
        fate = 1 if not valid else 2 if not like_new else 3 if repairs else 0
        for member in members:
            row = counts.setdefault(member, [0, 0, 0, 0])
            row[0] += 1
            if fate:
                row[fate] += 1
    return counts, Counter((*member, check) for visit, check in found for member in members_of[visit])


def test_shared_counts_are_those_of_the_visits(small_file: Path) -> None:
    visits, found = _counted(small_file, FIELD_TODAY)
    published = Published.open(small_file)
    published.rows("check_trend", months=caps.MONTHS)  # makes both
    rows = published.con.sql(
        "SELECT grouping, month::DATE, member, n_visits, n_set_aside, n_not_like_new, n_repaired "
        "FROM memory.member_visits"
    ).fetchall()
    assert {row[:3]: list(row[3:]) for row in rows} == visits
    assert len(rows) == len(visits) > 20
    rows = published.con.sql(
        "SELECT grouping, month::DATE, member, check_id, n_found FROM memory.member_found"
    ).fetchall()
    assert {row[:4]: row[4] for row in rows} == {k: n for k, n in found.items() if k[0] != "instrument"}
    assert len(rows) > 100
    grid = published.rows("checks_by_group", grouping="instrument", groups=3)
    assert {("instrument", None, row["member"], row["check_id"]): row["n_found"] for row in grid} == {
        k: n for k, n in found.items() if k[0] == "instrument" and k[2] in set(grid.frame["member"])
    }
    assert grid.frame["member"].n_unique() == 3
    published.close()


def test_the_fleet_is_counted_as_its_visits_are(small_file: Path) -> None:
    published = Published.open(small_file)
    told = published.rows("publication").one
    asked = published.con.sql(
        "SELECT count(*) AS n_visits, count(*) FILTER (valid) AS n_valid, "
        "count(*) FILTER (valid AND like_new) AS n_like_new, min(visited_at) FILTER (valid) AS first_visit_at, "
        "max(visited_at) FILTER (visited_at < (SELECT today FROM publication) + INTERVAL 1 DAY) AS last_visit_at "
        "FROM visit_static"
    ).pl()
    assert asked.row(0, named=True) == {name: told[name] for name in asked.columns}
    newest = published.con.sql(
        "SELECT visit_id FROM visit_static WHERE repairs <> '' ORDER BY visited_on DESC, visit_id LIMIT 40"
    ).fetchall()
    examples = published.rows("repair_examples", top=40)
    assert [row["visit_id"] for row in examples] == [v for (v,) in newest]
    n_repaired = published.con.sql("SELECT count(*) FROM visit_static WHERE repairs <> ''").fetchall()[0][0]
    assert examples.one_of("n_repaired") == n_repaired >= 40
    aside = "consequence = 'set_aside' AND check_id"
    drops = "'component_drop_impossible'"
    shares = published.con.sql(
        f"SELECT check_id, count(*), count(*) FILTER ({aside} <> {drops}), count(*) FILTER ({aside} = {drops}) "
        "FROM finding GROUP BY ALL ORDER BY ALL"
    ).fetchall()
    told_of = [row for row in published.rows("check_shares") if row["n_visits"]]
    counts = ("n_visits", "n_set_aside", "n_drop_set_aside")
    assert sorted((row["check_id"], *(row[n] for n in counts)) for row in told_of) == shares
    published.close()


@pytest.mark.parametrize("page", ["training.html", "data_quality.html"])
def test_a_page_that_breaks_breaks_them_all_and_leaves_the_old_ones(
    page: str, published_file: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    draw(published_file, tmp_path / "reports")
    before = {p.name: p.read_bytes() for p in (tmp_path / "reports").iterdir()}

    def broken(*_: object) -> str:
        raise StageError("the page broke")

    monkeypatch.setitem(reports.PAGES, page, broken)
    with pytest.raises(StageError, match="the page broke"):
        draw(published_file, tmp_path / "reports")
    assert {p.name: p.read_bytes() for p in (tmp_path / "reports").iterdir()} == before
    assert [p.name for p in tmp_path.iterdir()] == ["reports"]


def test_a_query_that_breaks_says_its_file(
    small_file: Path, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    folder = tmp_path / "reports"
    (folder / "shared").mkdir(parents=True)
    (folder / "asks.sql").write_text("SELECT * FROM memory.wrong;", encoding="utf-8")
    (folder / "shared" / "wrong.sql").write_text("SELECT nothing;", encoding="utf-8")
    monkeypatch.setattr(queries, "QUERIES", folder)
    monkeypatch.setattr(queries, "SQL_DIR", tmp_path)
    published = Published.open(small_file)
    with pytest.raises(StageError, match=r"sql/reports/shared/wrong\.sql broke.*\n.*"):
        published.rows("asks")
    published.close()


@pytest.mark.parametrize(
    ("lost", "says"),
    [
        ("ALTER TABLE site_static DROP COLUMN level_on", r"it lacks site_static\.level_on; the next run"),
        (
            "DROP TABLE work_follow_up",
            r"it lacks work_follow_up, work_follow_up\.\w+, .* and more; the next run",
        ),
        ("DROP MACRO crossing_day", "it lacks crossing_day; the next run"),
    ],
)
def test_a_publication_of_another_version_is_told(
    small_file: Path, tmp_path: Path, lost: str, says: str
) -> None:
    file = tmp_path / "fleet.duckdb"
    shutil.copyfile(small_file, file)
    with duckdb.connect(str(file)) as con:
        con.execute(lost)
    with pytest.raises(UsageError, match=says):
        draw(file, tmp_path / "reports")
    assert not (tmp_path / "reports").exists()


@pytest.mark.parametrize(
    ("asks", "shared", "says"),
    [
        (
            "SELECT 1 AS one LIMIT getvariable('topp')",
            "SELECT 1 AS one",
            r"sql/reports/asks\.sql asks for topp; given: top\n",
        ),
        (
            "SELECT * FROM memory.many LIMIT getvariable('top')",
            "SELECT 1 AS one LIMIT GetVariable( 'top' )",
            r"sql/reports/shared/many\.sql asks for top; given: none\n",
        ),
    ],
)
def test_a_variable_that_was_not_given_is_told(
    asks: str, shared: str, says: str, published: Published, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    published.rows("upkeep", top=3)  # on the same connection a variable of an earlier query is still set
    folder = tmp_path / "reports"
    (folder / "shared").mkdir(parents=True)
    (folder / "asks.sql").write_text(asks, encoding="utf-8")
    (folder / "shared" / "many.sql").write_text(shared, encoding="utf-8")
    monkeypatch.setattr(queries, "QUERIES", folder)
    monkeypatch.setattr(queries, "SQL_DIR", tmp_path)
    with pytest.raises(StageError, match=says):
        published.rows("asks", top=3)
