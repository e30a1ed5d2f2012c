"""Units that get worse: how many, when each mode passes the rating, and the unit's own sheet says the same."""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from datetime import date
from pathlib import Path

import duckdb
import numpy as np
import pytest
from scipy.optimize import brentq

from reports import caps, draw, draw_site_sheet
from reports.queries import Published
from tests.reports.published import TODAY, write_published
from tests.reports.reading import ReadPage, read_page

Change = Callable[..., ReadPage]
UNIT = "E0036"  # rising, with visits in both modes
DAYS = 365.25
MONTH = r"\d{4}-\d\d"
OPEN = rf"({MONTH}|no month told)"


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
    """When the modes pass the rating: the other elements that tell of a line say what it is at the last visit."""
    told = [" ".join(t.text.split()) for t in page.tellers if t.row.startswith("rising_modes.")]
    return [text for text in told if not text.startswith("Rising ") and "mean" not in text]


def test_a_cut_list_says_how_many_rise(change: Change) -> None:
    page = change("UPDATE equipment_trend SET trend = 'rising'")
    assert "Gettingworsethefirst15of84units" in "".join(page.text.split())


def test_a_whole_list_says_how_many_it_holds(published_file: Path, pages: Path) -> None:
    with duckdb.connect(str(published_file), read_only=True) as con:
        (n,) = con.sql("SELECT count(*) FROM equipment_trend WHERE trend = 'rising'").fetchall()[0]
    assert 1 < n <= caps.TOP_RISING
    assert f"Gettingworse{n}units" in "".join(read_page(pages / "operations.html").text.split())


Lines = dict[tuple[str, str], dict[str, float | str | date]]


def _rising_lines(file: Path, trend: str = "rising") -> Lines:
    """The lines of all judged modes, computed with numpy, by unit and mode: years count from 1970.

    The days in the file are those of its like-new visits (test_the_level_stands_at_its_mean_day).
    """
    with duckdb.connect(str(file), read_only=True) as con:
        units = con.sql(
            "SELECT s.equipment_id, s.mode, level_inwc, (level_hi_inwc - level_lo_inwc) / 2, rated_tesp_inwc, "
            "s.n_visits, level_on, s.last_on, slope_inwc_per_year, (slope_hi - slope_lo) / 2, static_state "
            f"FROM site_static AS s JOIN equipment_trend USING (equipment_id) WHERE trend = '{trend}'"
        ).fetchall()
    lines: Lines = {}
    for unit, mode, level, level_half, rated, _, at, last, slope, half, state in units:
        if state == "too_few_visits":
            continue
        of_unit = [(u[2], u[5]) for u in units if u[0] == unit and u[2] is not None]
        share = level / np.average([of[0] for of in of_unit], weights=[of[1] for of in of_unit])
        middle = _years(at)
        lines[unit, mode] = {
            "middle": middle, "level": level, "rated": rated, "slope": slope * share, "slope_half": half * share,
            "level_half": level_half, "last": level + slope * share * (_years(last) - middle), "state": state,
        }  # fmt: skip
    return lines


def test_the_level_stands_at_its_mean_day(tmp_path: Path) -> None:
    file = write_published(tmp_path / "fleet.duckdb", sites=84)
    with duckdb.connect(str(file), read_only=True) as con:
        units = con.sql("SELECT equipment_id, mode, level_on FROM site_static").fetchall()
        visits = con.sql(
            "SELECT equipment_id, mode, visited_on FROM visit_static WHERE valid AND like_new"
        ).fetchall()
    for unit, mode, on in units:
        days = [day.toordinal() for e, m, day in visits if (e, m) == (unit, mode)]
        assert abs(on.toordinal() - np.mean(days)) <= 0.5 if days else on is None


def _years(day: date) -> float:
    return (day - date(1970, 1, 1)).days / DAYS


def _bracket(line: dict[str, float | str | date]) -> tuple[float | None, float | None]:
    """Between which days the rating lies within the line's 95 % interval: looked for along the line, not solved for."""
    at, level, rated, slope, h, k = (
        float(str(line[name])) for name in ("middle", "level", "rated", "slope", "slope_half", "level_half")
    )

    def outside(years: float) -> float:
        return abs(rated - level - slope * years) - math.hypot(k, h * years)

    meets = (rated - level) / slope
    before, after = (0.0 if rated - level > k else -5000.0), 5000.0
    least = at + brentq(outside, before, meets) if outside(before) > 0 else None
    return least, at + brentq(outside, meets, after) if outside(after) > 0 else None


def _age(day: date | None, year: float) -> float:
    assert day is not None
    return abs((day - date(1970, 1, 1)).days - year * DAYS)


def test_a_mode_passes_the_rating_where_its_line_does(tmp_path: Path) -> None:
    file = write_published(tmp_path / "fleet.duckdb", sites=84)
    with duckdb.connect(str(file)) as con:
        con.execute("UPDATE equipment_trend SET trend = 'rising'")
        con.execute(
            "UPDATE equipment_trend SET slope_inwc_per_year = 0.05, slope_lo = 0.03, slope_hi = 0.07 "
            "WHERE right(equipment_id, 1) < '6'"
        )
    lines = _rising_lines(file)
    published = Published.open(file)
    rows = {
        (row["equipment_id"], row["mode"]): row
        for row in published.rows("rising_modes", units=sorted({unit for unit, _ in lines}))
    }
    published.close()
    assert set(rows) == set(lines)
    n_bracketed = 0
    for key, line in lines.items():
        row = rows[key]
        assert row["last_line_inwc"] == pytest.approx(line["last"], abs=1e-9)
        assert row["mode_slope_inwc_per_year"] == pytest.approx(line["slope"], abs=1e-9)
        gap, slope = float(str(line["rated"])) - float(str(line["level"])), float(str(line["slope"]))
        on = float(str(line["middle"])) + gap / slope
        if gap <= 0:
            assert row["passes"] == "over"
        elif gap / slope > 100:
            assert row["passes"] == "not_told"
        else:
            assert row["passes"] == ("passed" if row["crossing_on"] <= TODAY else "will_pass")
            assert _age(row["crossing_on"], on) <= 1
            least, most = _bracket(line)
            assert (row["crossing_earliest_on"] is None) == (least is None)
            assert least is None or _age(row["crossing_earliest_on"], least) <= 1, key
            if most is None or most - float(str(line["middle"])) > 100:
                assert row["crossing_latest_on"] is None
            else:
                assert _age(row["crossing_latest_on"], most) <= 1, key
                n_bracketed += 1
    assert 5 < n_bracketed < sum(row["passes"] not in ("over", "not_told") for row in rows.values())


def test_the_mode_with_less_static_rises_less_and_both_keep_the_common_slope(tmp_path: Path) -> None:
    file = write_published(tmp_path / "fleet.duckdb", sites=84)
    published = Published.open(file)
    rows = list(published.rows("rising_modes", units=[UNIT]))
    ((slope,),) = published.con.sql(
        f"SELECT slope_inwc_per_year FROM equipment_trend WHERE equipment_id = '{UNIT}'"
    ).fetchall()
    published.close()
    assert len(rows) == 2
    low, high = sorted(rows, key=lambda row: row["level_inwc"])
    assert low["mode_slope_inwc_per_year"] < slope < high["mode_slope_inwc_per_year"]


def test_units_stand_in_the_order_in_which_someone_must_look(tmp_path: Path) -> None:
    """Over by their line and nowhere chronic; chronic; those that pass soonest. All of them are in the workbook."""
    file = write_published(tmp_path / "fleet.duckdb", sites=84)
    with duckdb.connect(str(file)) as con:
        con.execute(
            "UPDATE equipment_trend SET trend = 'rising', slope_lo = 0.01, slope_inwc_per_year = 0.02"
        )
        con.execute("UPDATE equipment_trend SET slope_inwc_per_year = 0.2 WHERE hash(equipment_id) % 3 = 0")
    lines = _rising_lines(file)
    published = Published.open(file)
    rows = list(published.rows("getting_worse", top=1000))
    published.close()
    by_unit: dict[str, list[dict[str, float | str | date]]] = {}
    for (unit, _), line in lines.items():
        by_unit.setdefault(unit, []).append(line)

    def place(unit: str) -> tuple[int, float, str]:
        of_unit = by_unit.get(unit)
        if not of_unit:
            return 4, 0.0, unit
        meets = [
            float(str(x["middle"]))
            + (float(str(x["rated"])) - float(str(x["level"]))) / float(str(x["slope"]))
            for x in of_unit
        ]
        chronic = any(line["state"] == "chronic" for line in of_unit)
        return (
            2 if chronic else 1 if round(min(meets) * DAYS) <= _years(TODAY) * DAYS else 3,
            min(meets),
            unit,
        )

    wanted = sorted((row["equipment_id"] for row in rows), key=place)
    assert [row["equipment_id"] for row in rows] == wanted
    assert {place(unit)[0] for unit in wanted} == {1, 2, 3, 4}
    assert [row["is_over_by_line"] for row in rows] == [place(unit)[0] == 1 for unit in wanted]
    assert {row["n_over_by_line"] for row in rows} == {sum(place(unit)[0] == 1 for unit in wanted)}


def test_a_rising_unit_is_told_by_its_line_wherever_it_stands(change: Change) -> None:
    """On the first screen, in its list, on its sheet: what the line says now, beside a level that is not chronic."""
    made = (
        f"UPDATE site_static SET level_inwc = rated_tesp_inwc - 0.02, level_lo_inwc = rated_tesp_inwc - 0.05, "
        f"level_hi_inwc = rated_tesp_inwc + 0.01, static_state = 'uncertain' WHERE equipment_id = '{UNIT}'",
        f"UPDATE site_priority SET static_state = 'uncertain' WHERE equipment_id = '{UNIT}'",
        "UPDATE equipment_trend SET trend = 'steady'",
        f"UPDATE equipment_trend SET trend = 'rising', slope_inwc_per_year = 0.08 WHERE equipment_id = '{UNIT}'",
        f"UPDATE site_attention SET reason = 'too_few_visits' WHERE equipment_id = '{UNIT}'",
        f"INSERT INTO site_attention BY NAME SELECT site_id, branch, equipment_id, mode, 'uncertain' AS reason, "
        f"9 AS n_visits, 1 AS visits_needed FROM site_static WHERE equipment_id = '{UNIT}'",
    )
    page = change(*made)
    text = " ".join(page.text.split())
    assert "1 more unit, rising, is over the rating by now, by the line through the visits" in text
    assert re.search(
        r"2 units in one mode, at 1 site: rising: the mean of the visits is near the rating", text
    )
    says = r"Rising \+0\.0\d\d in\. w\.c\. a year in (cooling|heating): about \d\.\d\d at the last visit, "
    says += r"\d{4}-\d\d-\d\d"
    sheet = " ".join(change(*made, site="S0036").text.split())
    assert re.search(
        says + r", over the rating\. Level and probability are of the mean over the visits", sheet
    )
    assert re.search(says, text)
    assert "Once more" not in sheet


@pytest.mark.parametrize(
    ("level", "slope", "words"),
    [
        ("rated_tesp_inwc", 0.04, "over already"),
        ("rated_tesp_inwc - 0.06", 0.04, rf"(by its line since )?{MONTH} \({OPEN} to {OPEN}\)"),
        ("rated_tesp_inwc - 0.001", 0.04, rf"by its line since {MONTH} \(.*\)"),
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


@pytest.mark.parametrize(("state", "told"), [("drifting", True), ("no_drift_seen", False)])
def test_where_gauges_drift_the_list_says_so(change: Change, state: str, told: bool) -> None:
    page = change(f"UPDATE instrument_drift SET drift_state = '{state}'")
    said = "of the fleet drift (which): a unit that was read with one of them may only seem to rise"
    assert (said in " ".join(page.text.split())) == told
