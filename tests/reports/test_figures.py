"""Every figure on every page equals the query that it names, asked again of the published file: its row and column.

Three things make that exact. A figure names query, row and column. The element around it says of which row it tells,
and names that row's unit, person or file in words. Numbers outside of figures stand in no such element.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from functools import cache
from pathlib import Path
from typing import Any

import pytest

from pipeline.warehouse import SQL_DIR
from reports import PAGES, caps, draw_site_sheet, operations, words
from reports.queries import Published, Row, plain
from tests.reports.reading import Figure, ReadPage, read_page

SHEETS = ("S0000", "S0001", "S0002", "S0004", "S0006")
NAMES = (*PAGES, *(f"sites/{site}.html" for site in SHEETS))
Answers = dict[str, list[Row]]


def _texts(*columns: str) -> Callable[[Row], list[str]]:
    return lambda row: [str(row[column]) for column in columns]


UNIT = _texts("site_id", "equipment_id", "mode")
NAMED_BY: dict[str, Callable[[Row], list[str]]] = {  # query: the words by which an element names its row
    "ranked": UNIT,
    "ranked_seconds": UNIT,
    "upkeep": UNIT,
    "unit_facts": _texts("equipment_id", "mode"),
    "unit_equipment": _texts("equipment_id"),
    "unit_what_if": lambda row: [operations.CHANGE_WORDS[row["change"]]],
    "changed_units": UNIT,
    "changes": lambda row: [words.CHANGES[row["change"]]],
    "attention": lambda row: [operations.REASON_WORDS[row["reason"]]],
    "visits_wanted": _texts("site_id", "equipment_id"),
    "work_not_measured": lambda row: [row["site_id"], words.word(row["work_kind"])],
    "latest_works": lambda row: [row["site_id"], row["mode"], words.word(row["work_kind"])],
    "work_effect": lambda row: [words.word(row["work_kind"])],
    "getting_worse": _texts("site_id", "equipment_id"),
    "rising_modes": _texts("mode"),  # in the line of its unit
    "fleet_state": lambda row: [_state(row)],
    "coaching": _texts("technician_id"),
    "coaching_visits": _texts("visit_id", "site_id", "equipment_id", "mode"),
    "gauges": _texts("instrument_id", "port"),
    "since_training": _texts("technician_id"),
    "habits": _texts("technician_id", "title"),
    "visit_fates": lambda row: [words.FATES[row["fate"]]],
    "check_shares": _texts("title"),
    "check_trend": _texts("title", "peak_month"),
    "repair_counts": _texts("title"),
    "repair_examples": _texts("visit_id", "site_id"),
    "rejected_reasons": lambda row: [row["table_name"], words.word(row["reason"])],
    "rejected_rows": _texts("file", "table_name"),
    "ledger": _texts("file", "table_name"),
    "gate": _texts("expectation", "table_name"),
    "settings": lambda row: [words.word(row["name"])],
}
# Of a whole group, told once.
COUNTS_OF_ALL = {"n_chronic_in_side", "n_uncertain_in_side", "n_in_side", "n_ranked", "n_rising", "n_over_by_line",
                 "n_habits", "n_upkeep", "n_wanted", "n_waiting", "n_of_kind", "n_repaired", "n_rejected",
                 "n_expectations", "n_failed", "n_recent", "n_before", "n_of_finding", "n_since_training"}  # fmt: skip


def _state(row: Row) -> str:
    if row["fleet_state"] == "chronic":
        return {"return": "return", "supply": "supply", "airflow_setting": "", "none": ""}[
            row["problem_side"]
        ]
    return operations.STATE_WORDS[row["fleet_state"]]


SHARES = ("rate", "share", "share_peak", "_recent", "_before", "_after", "_rejected", "rejected_share", "_not_zeroed",
          "skip_lo", "skip_hi", "rate_lo", "rate_hi", "change", "change_lo", "change_hi", "recent_lo", "recent_hi",
          "before_lo", "before_hi", "_ratio")  # fmt: skip


def style_of(column: str) -> tuple[str, ...]:
    """The formats in which a column may be shown."""
    pressures = ("_inwc", "_inwc_per_year", "slope_lo", "slope_hi", "step_lo", "step_hi")
    by_ending: dict[tuple[str, ...], tuple[str, ...]] = {
        ("cost_per_tenth_inwc",): ("count",),
        pressures: ("inwc", "inwc3", "signed", "signed3"),
        ("crossing_on", "_earliest_on", "_latest_on"): ("month",),
        ("_on", "today", "offsets_before"): ("day",),
        ("_at",): ("day", "minute"),
        ("_recorded",): ("plain",),  # as it was written, in the row's own unit
        ("q_value",): ("q",),
        ("value",): ("plain",),
        ("prob_over_rated", "prob_side"): ("chance",),
        ("nominal_tons", "line_number"): ("text",),
        SHARES: ("share",),
    }
    if column.startswith(("n_", "rows_")):
        return ("count",)
    return next((styles for ends, styles in by_ending.items() if column.endswith(ends)), ("count",))


@pytest.fixture(scope="module")
def published(published_file: Path) -> Iterator[Published]:
    opened = Published.open(published_file)
    yield opened
    opened.close()


@pytest.fixture(scope="module")
def every(
    pages: Path, published_file: Path, published: Published
) -> Callable[[str], tuple[ReadPage, Answers]]:
    """A page or sheet, read, and the rows of every query that it says it asked, by key."""

    @cache
    def read(name: str) -> tuple[ReadPage, Answers]:
        if name.startswith("sites/"):
            draw_site_sheet(published_file, pages, name.removeprefix("sites/").removesuffix(".html"))
        page = read_page(pages / name)
        asked = page.payload["asked"]
        rows = {k: list(published.rows(a["query"], key=k, **a["variables"])) for k, a in asked.items()}
        return page, rows

    return read


Read = Callable[[str], tuple[ReadPage, Answers]]


def row_of(where: str, answers: Answers) -> Row:
    """The row that an element or figure names as query.number."""
    key, number = where.split(".")
    return answers[key][int(number)]


def wrong_in(figure: Figure, answers: Answers) -> str | None:
    """What is wrong with a figure: its value, its text or its place; None if nothing is."""
    key, number, column = figure.source.split(".")
    value = answers[key][int(number)][column]
    if str(plain(value)) != figure.value:
        return f"{figure.source} is {value}, not {figure.value}"
    if figure.text not in {words.shown(value, style) for style in style_of(column)}:
        return f"{figure.source}: {value} is shown as {figure.text}"
    if len(answers[key]) > 1 and f"{key}.{number}" not in figure.within:
        return f"{figure.source} stands in an element of {figure.within}"
    return None


@pytest.mark.parametrize("name", NAMES)
def test_every_figure_is_its_querys_value_in_its_row(name: str, every: Read) -> None:
    page, answers = every(name)
    assert len(page.figures) > 8
    assert [wrong for figure in page.figures if (wrong := wrong_in(figure, answers))] == []


@pytest.mark.parametrize("name", NAMES)
def test_every_element_names_the_row_that_it_tells_of(name: str, every: Read) -> None:
    page, answers = every(name)
    for teller in page.tellers:
        key = teller.row.split(".")[0]
        row = row_of(teller.row, answers)
        inside = {source.split(".")[2] for source in teller.sources if source.startswith(f"{key}.")}
        if inside and inside <= COUNTS_OF_ALL:
            continue
        if teller.row in teller.around:
            continue
        text = " ".join(teller.text.split())
        for word in NAMED_BY[key](row):
            assert " ".join(word.split())[:60] in text, (teller.row, word, text[:200])
        for outer in (row_of(around, answers) for around in teller.around):
            same = {"equipment_id", "mode", "site_id"} & set(row) & set(outer)
            assert {c: row[c] for c in same} == {c: outer[c] for c in same}, (teller.row, teller.around)


@pytest.mark.parametrize("name", NAMES)
def test_no_number_of_a_row_stands_outside_a_figure(name: str, every: Read) -> None:
    page, answers = every(name)
    for teller in page.tellers:
        rows = [row_of(where, answers) for where in (teller.row, *teller.around)]
        known = " ".join(words.word(v) + v for row in rows for v in row.values() if isinstance(v, str))
        bare = [n for n in re.findall(r"\d[\d.,]*\d|\d", teller.bare) if n not in known]
        caps_told = {caps.REPAIR_EXAMPLES, caps.TOP_WANTED, caps.TOP, caps.TOP_UPKEEP, caps.TOP_RISING, 95}
        assert set(bare) <= {str(cap) for cap in caps_told}, (teller.row, bare, teller.bare[:200])


@pytest.mark.parametrize("fault", ["value", "text", "row", "place"])
def test_a_wrong_figure_is_found(fault: str, every: Read) -> None:
    page, answers = every("operations.html")
    figures = [f for f in page.figures if f.source.endswith(".level_inwc") and f.source.startswith("ranked.")]
    one, two = figures[0], next(f for f in figures if f.value != figures[0].value)
    assert wrong_in(one, answers) is None
    wrong = {
        "value": Figure(one.source, two.value, one.within, one.text),
        "text": Figure(one.source, one.value, one.within, one.text + "0"),
        "row": Figure(two.source, one.value, one.within, one.text),
        "place": Figure(two.source, two.value, one.within, two.text),
    }
    assert wrong_in(wrong[fault], answers) is not None


@pytest.mark.parametrize("name", NAMES)
def test_rows_behind_the_charts_are_the_queries_rows(name: str, every: Read) -> None:
    page, answers = every(name)
    for key in page.payload["rows"]:
        wanted: list[dict[str, Any]] = [{c: plain(v) for c, v in row.items()} for row in answers[key]]
        assert page.rows(key) == wanted, key


def test_a_list_shows_its_rows_in_the_querys_order(pages: Path, published: Published) -> None:
    page = read_page(pages / "operations.html")
    ranked = published.rows("ranked", top=caps.TOP, top_in_branch=caps.TOP_IN_BRANCH)
    for side in operations.SIDES:
        wanted = [str(row["rank"]) for row in ranked.where("problem_side", side)]
        numbers = {str(row.number) for row in ranked.where("problem_side", side)}
        shown = [f for f in page.figures if re.fullmatch(r"ranked\.\d+\.rank", f.source)]
        assert [f.value for f in shown if f.source.split(".")[1] in numbers] == wanted


def test_a_unit_has_one_line_over_its_modes(published: Published) -> None:
    ranked = published.rows("ranked", top=1_000_000, top_in_branch=0)
    two = [row for row in ranked if row["other_rank"] is not None]
    assert two
    assert all(row["rank"] < row["other_rank"] for row in two)
    assert all(row["mode"] != row["other_mode"] for row in ranked)
    units = [row["equipment_id"] for row in ranked]
    assert len(units) == len(set(units))
    listed = published.con.sql("SELECT equipment_id, mode, rank, level_inwc FROM site_priority").fetchall()
    assert set(units) == {unit for unit, *_ in listed}
    shown = {(r["equipment_id"], r["mode"], r["rank"], r["level_inwc"]) for r in ranked}
    shown |= {(r["equipment_id"], r["other_mode"], r["other_rank"], r["other_level_inwc"]) for r in two}
    assert shown == set(listed)
    assert [row["line_number"] for row in ranked] == list(range(1, len(units) + 1))


def test_states_count_every_site_once(published: Published) -> None:
    states = published.rows("fleet_state")
    headline = published.rows("headline").one
    assert sum(row["n_sites"] for row in states) == headline["n_sites"]
    assert (
        sum(row["n_sites"] for row in states.where("fleet_state", "chronic"))
        == headline["n_chronic_sites"]
        > 0
    )
    assert sum(row["share_of_sites"] for row in states) == pytest.approx(1.0)


def test_every_query_is_asked_by_some_page(every: Read) -> None:
    asked = {a["query"] for name in NAMES for a in every(name)[0].payload["asked"].values()}
    asked |= {"near_matches", "rejected_list"}  # test_site_sheet.py, test_worklists.py
    assert {file.stem for file in (SQL_DIR / "reports").glob("*.sql")} == asked


def test_queries_answer_in_the_same_order_each_time(published: Published, published_file: Path) -> None:
    again = Published.open(published_file)
    for query in ("ranked", "upkeep"):
        first = published.rows(query, top=caps.TOP, top_in_branch=caps.TOP_IN_BRANCH).frame
        assert first.equals(again.rows(query, top=caps.TOP, top_in_branch=caps.TOP_IN_BRANCH).frame)
    again.close()


def test_a_sparkline_is_its_checks_shares(every: Read) -> None:
    page, answers = every("data_quality.html")
    drawn = [a["points"] for tag, a in page.tags if tag == "polyline" and "points" in a]
    trend = answers["check_trend"]
    assert len(drawn) == len(trend) > 2
    for points, row in zip(drawn, trend, strict=True):
        heights = [(22 - float(point.split(",")[1])) / 22 for point in str(points).split()]
        assert heights == pytest.approx([s / row["share_peak"] for s in row["shares"]], abs=0.001)
        assert max(row["shares"]) == row["share_peak"]
