"""Units that get worse: how many, when each mode passes the rating, and the unit's own sheet says the same."""

from __future__ import annotations

import re
import statistics
from collections.abc import Callable
from datetime import date, timedelta
from pathlib import Path

import duckdb
import pytest

from reports import caps, draw, draw_site_sheet
from reports.queries import Published
from tests.reports.published import TODAY, write_published
from tests.reports.reading import ReadPage, read_page

Change = Callable[..., ReadPage]
UNIT = "E0036"  # rising, with visits in both modes
DAYS = 365.25
DAY = r"\d{4}-\d\d-\d\d"


@pytest.fixture
def change(tmp_path: Path) -> Change:
    """The operations page, or the sheet of a site, of the publication made by hand after the statements."""

    def drawn(*statements: str, site: str | None = None) -> ReadPage:
        file = write_published(tmp_path / "fleet.duckdb", sites=84)
        with duckdb.connect(str(file)) as con:
            for statement in statements:
                con.execute(statement)
        if site:
            return read_page(draw_site_sheet(file, tmp_path / "reports", site))
        draw(file, tmp_path / "reports")
        return read_page(tmp_path / "reports" / "operations.html")

    return drawn


def rising_lines(page: ReadPage) -> list[str]:
    return [" ".join(t.text.split()) for t in page.tellers if t.row.startswith("rising_modes.")]


def test_a_cut_list_says_how_many_rise(change: Change) -> None:
    page = change("UPDATE equipment_trend SET trend = 'rising'")
    assert "Gettingworsethefirst15of84units" in "".join(page.text.split())


def test_a_whole_list_says_how_many_it_holds(published_file: Path, pages: Path) -> None:
    with duckdb.connect(str(published_file), read_only=True) as con:
        (n,) = con.sql("SELECT count(*) FROM equipment_trend WHERE trend = 'rising'").fetchall()[0]
    assert 1 < n <= caps.TOP_RISING
    assert f"Gettingworse{n}units" in "".join(read_page(pages / "operations.html").text.split())


def _crossing(days: list[date], level: float, rated: float, slope: float) -> date | None:
    """The day on which a line through the level at the median day reaches the rating, in plain Python."""
    middle = statistics.median((day - date(1970, 1, 1)).days for day in days) / DAYS
    years = (rated - level) / slope if slope > 0 else -1.0
    return date(1970, 1, 1) + timedelta(days=round((middle + years) * DAYS)) if 0 <= years <= 100 else None


def test_a_mode_passes_the_rating_where_its_line_with_the_units_slope_does(published_file: Path) -> None:
    with duckdb.connect(str(published_file), read_only=True) as con:
        units = con.sql(
            "SELECT s.equipment_id, s.mode, level_inwc, rated_tesp_inwc, first_on, s.last_on, slope_inwc_per_year, "
            "slope_lo, slope_hi FROM site_static AS s JOIN equipment_trend USING (equipment_id) "
            "WHERE static_state <> 'too_few_visits'"
        ).fetchall()
        visits = con.sql(
            "SELECT equipment_id, mode, visited_on FROM visit_static WHERE valid AND like_new"
        ).fetchall()
    wanted = {}
    for unit, mode, level, rated, first, last, *slopes in units:
        days = [on for e, m, on in visits if (e, m) == (unit, mode) and first <= on <= last]
        over = level >= rated
        wanted[unit, mode] = [None if over else _crossing(days, level, rated, slope) for slope in slopes]
    assert sum(days[0] is not None for days in wanted.values()) > 10
    published = Published.open(published_file)
    rows = list(published.rows("rising_modes", units=sorted({unit for unit, *_ in units})))
    published.close()
    told = {(row["equipment_id"], row["mode"]): row for row in rows}
    assert set(told) == set(wanted)
    for key, (on, latest, earliest) in wanted.items():
        row = told[key]
        for day, name in (
            (on, "crossing_on"),
            (latest, "crossing_latest_on"),
            (earliest, "crossing_earliest_on"),
        ):
            assert (row[name] is None) == (day is None), (key, name)
            assert day is None or abs((row[name] - day).days) <= 1, (
                key,
                name,
            )  # a half day is rounded either way
        passes = "passed" if on and on <= TODAY else "will_pass" if on else "not_told"
        assert row["passes"] == ("over" if row["level_inwc"] >= row["rated_tesp_inwc"] else passes)


@pytest.mark.parametrize(
    ("level", "slope", "words"),
    [
        ("rated_tesp_inwc", 0.04, "over already"),
        ("rated_tesp_inwc - 0.06", 0.04, rf"(by its line since )?{DAY} \({DAY} to {DAY}\)"),
        ("rated_tesp_inwc - 0.001", 0.04, rf"by its line since {DAY} \(.*\)"),
        ("rated_tesp_inwc - 0.3", 0.0004, "not within a century"),
    ],
)  # fmt: skip
def test_each_way_to_pass_has_its_words(level: str, slope: float, words: str, change: Change) -> None:
    state = "static_state = 'within_rating'"
    page = change(
        f"UPDATE site_static SET level_inwc = {level}, {state} WHERE equipment_id = '{UNIT}'",
        "UPDATE equipment_trend SET trend = 'steady'",
        f"UPDATE equipment_trend SET trend = 'rising', slope_inwc_per_year = {slope}, slope_lo = {slope / 2}, "
        f"slope_hi = {slope * 2} WHERE equipment_id = '{UNIT}'",
    )
    lines = rising_lines(page)
    assert lines
    assert [line for line in lines if not re.fullmatch(rf"(cooling|heating): {words}", line)] == []


def test_a_mode_with_too_few_visits_has_no_day(change: Change) -> None:
    page = change(f"UPDATE site_static SET static_state = 'too_few_visits' WHERE equipment_id = '{UNIT}'",
                  "UPDATE equipment_trend SET trend = 'steady'",
                  f"UPDATE equipment_trend SET trend = 'rising' WHERE equipment_id = '{UNIT}'")  # fmt: skip
    assert rising_lines(page) == []
    assert "no mode is judged yet" in page.text


BOTH = (
    "UPDATE equipment_trend SET n_visits = n_visits + 5, trend = '{}', slope_inwc_per_year = 0.034, slope_lo = {}, "
    "slope_hi = 0.051 WHERE equipment_id = 'E0036'"
)


@pytest.mark.parametrize(
    ("site", "trend", "lo", "words"),
    [
        (None, "rising", 0.02, "Both modes together rising, +0.034 in. w.c. a year (+0.020 to +0.051)"),
        ("S0036", "rising", 0.02, "Both modes together rising, +0.034 in. w.c. a year (+0.020 to +0.051)"),
        ("S0036", "steady", 0.02, "Both modes together not told apart from steady, +0.034 in. w.c."),
        ("S0036", "steady", -0.02, "Both modes together steady, +0.034 in. w.c. a year (-0.020 to +0.051)"),
    ],
)
def test_the_sheet_tells_the_trend_of_both_modes(
    site: str | None, trend: str, lo: float, words: str, change: Change
) -> None:
    page = change(BOTH.format(trend, lo), site=site)
    sheets = [t.text for t in page.tellers if t.row.startswith("unit_facts.") and UNIT in t.text]
    assert sheets
    assert all("".join(words.split()) in "".join(text.split()) for text in sheets)


@pytest.mark.parametrize(
    ("hi", "words"), [(-0.01, "not told apart from steady, -0.030"), (0.01, "steady, -0.030")]
)
def test_a_modes_own_trend_is_called_steady_only_around_zero(hi: float, words: str, change: Change) -> None:
    page = change(
        f"UPDATE site_trend SET trend = 'steady', slope_inwc_per_year = -0.03, slope_lo = -0.05, slope_hi = {hi} "
        f"WHERE equipment_id = '{UNIT}'",
        site="S0036",
    )
    assert f"Trend in this mode{words}" in page.text


def test_a_unit_in_one_mode_has_its_own_trend(change: Change) -> None:
    page = change(site="S0009")
    assert "Trend of the unit" in page.text
    assert "Both modes together" not in page.text
