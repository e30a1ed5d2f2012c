"""Every figure on every page equals the query that it names, asked again of the published file."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from pipeline.warehouse import SQL_DIR
from reports import PAGES, caps, draw_site_sheet, words
from reports.queries import Published, plain
from tests.reports.reading import ReadPage, read_page

STYLES = [style for style in words.FORMATS if style != "text"]


@pytest.fixture(scope="module")
def published(published_file: Path) -> Iterator[Published]:
    opened = Published.open(published_file)
    yield opened
    opened.close()


def answers(published: Published, page: ReadPage) -> dict[str, list[dict[str, Any]]]:
    """The rows of every query that the page says it asked, by key."""
    asked = page.payload["asked"]
    return {key: list(published.rows(a["query"], key=key, **a["variables"])) for key, a in asked.items()}


@pytest.mark.parametrize("name", PAGES)
def test_every_figure_is_a_value_of_its_query(name: str, pages: Path, published: Published) -> None:
    page = read_page(pages / name)
    rows = answers(published, page)
    assert len(page.figures) > 10
    for figure in page.figures:
        key, column = figure.source.split(".")
        values = [row[column] for row in rows[key] if row[column] is not None]
        matching = [value for value in values if str(plain(value)) == figure.value]
        assert matching, f"{figure.source}: {figure.value} is not in the query's rows"
        shown = {words.shown(matching[0], style) for style in _styles(matching[0])} | {figure.value}
        shown |= {f"{matching[0]:g}"} if isinstance(matching[0], float) else set()
        assert figure.text in shown, f"{figure.source}: {figure.value} is shown as {figure.text}"


def _styles(value: Any) -> list[str]:
    dated = hasattr(value, "isoformat")
    return ["day", "minute"] if dated else [s for s in STYLES if s not in ("day", "minute", "word")]


@pytest.mark.parametrize("name", PAGES)
def test_rows_behind_the_charts_are_the_queries_rows(name: str, pages: Path, published: Published) -> None:
    page = read_page(pages / name)
    rows = answers(published, page)
    for key in page.payload["rows"]:
        wanted = [{column: plain(value) for column, value in row.items()} for row in rows[key]]
        assert page.rows(key) == wanted, key


def test_a_list_shows_its_rows_in_the_querys_order(pages: Path, published: Published) -> None:
    page = read_page(pages / "operations.html")
    ranks = [row["rank"] for row in published.rows("ranked", top=caps.TOP, top_in_branch=caps.TOP_IN_BRANCH)]
    shown = [int(f.value) for f in page.figures if f.source == "ranked.rank"]
    assert sorted(shown) == ranks
    assert len(shown) == len(set(shown)) > 20


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


def test_every_query_is_asked_by_some_page(pages: Path, published_file: Path, published: Published) -> None:
    asked = {a["query"] for name in PAGES for a in read_page(pages / name).payload["asked"].values()}
    sheet = read_page(draw_site_sheet(published_file, pages, "S0001"))
    asked |= {a["query"] for a in sheet.payload["asked"].values()}
    asked |= {"near_matches", "rejected_list"}  # test_site_sheet.py, test_worklists.py
    assert {file.stem for file in (SQL_DIR / "reports").glob("*.sql")} == asked


def test_queries_answer_in_the_same_order_each_time(published: Published) -> None:
    first = published.rows("ranked", top=caps.TOP, top_in_branch=caps.TOP_IN_BRANCH).frame
    assert first.equals(published.rows("ranked", top=caps.TOP, top_in_branch=caps.TOP_IN_BRANCH).frame)
