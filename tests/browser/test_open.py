"""Every page opens without a word on the console and without a request, and draws what it holds."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path

import duckdb
import pytest
from playwright.sync_api import Browser, Page

from reports import columns as report_columns
from reports import draw, words
from tests.browser.conftest import PAGES
from tests.reports.published import write_published

pytestmark = pytest.mark.browser
Visit = Callable[..., Page]


def drawn_with(change: str, folder: Path) -> Path:
    """The pages of a publication of which one statement changes something."""
    file = write_published(folder / "fleet.duckdb", hostile=False)
    with duckdb.connect(str(file)) as con:
        con.execute(change)
    draw(file, folder / "reports")
    return folder / "reports"


@pytest.mark.parametrize("name", [*PAGES, "sites/S0000"])
def test_page_opens_and_draws_every_chart(name: str, folder: Path, look: Visit) -> None:
    page = look(folder / f"{name}.html")
    assert page.evaluate("window.hacked") is None
    for chart in page.evaluate("Object.keys(payload.charts)"):
        marks = page.locator(f"#plot-{chart} svg .mark-symbol path, #plot-{chart} svg .mark-rect path")
        assert marks.count() > 0, chart


@pytest.mark.parametrize("name", PAGES)
def test_empty_page_opens(name: str, empty_folder: Path, visit: Visit) -> None:
    assert visit(empty_folder / f"{name}.html").locator("svg.marks").count() == 0


@pytest.mark.parametrize("name", [*PAGES, "sites/S0000"])
def test_nothing_runs_over_the_edge(name: str, folder: Path, visit: Visit) -> None:
    page = visit(folder / f"{name}.html", width=320)
    for width in (320, 390, 768):
        page.set_viewport_size({"width": width, "height": 860})
        assert page.evaluate("document.documentElement.scrollWidth") <= width


def test_dark_theme_changes_charts_too(folder: Path, visit: Visit) -> None:
    ask = "getComputedStyle(document.querySelector('#plot-fleet_picture .mark-symbol path')).stroke"
    light, dark = (visit(folder / "operations.html", scheme=s).evaluate(ask) for s in ("light", "dark"))
    assert light.startswith("rgb(")
    assert light != dark


def test_numbers_read_the_same_in_the_page_and_in_its_tables(folder: Path, visit: Visit) -> None:
    values = [
        0.53,
        -0.22,
        -0.001,
        0.125,
        0.0,
        1.0,
        0.999,
        0.004,
        0.0003,
        0.0096,
        0.3,
        8088,
        2606.7,
        -0.0414,
        1234567.0,
    ]
    page = visit(folder / "operations.html")
    for style in ("inwc", "inwc3", "signed", "signed3", "share", "chance", "q", "count"):
        shown = page.evaluate("([values, style]) => values.map(v => shown(v, style))", [values, style])
        exact = [v for v in values if v != 0.125]  # a half: the two round it differently, as is known
        wanted = {v: words.shown(v, style) for v in exact}
        assert {v: s for v, s in zip(values, shown, strict=True) if v in wanted} == wanted


@pytest.mark.parametrize("name", PAGES)
def test_pictures_of_the_page(name: str, folder: Path, visit: Visit, tmp_path: Path) -> None:
    """Light, dark, narrow and on paper, kept in the test's folder for whoever wants to look."""
    page = visit(folder / f"{name}.html")
    page.screenshot(path=tmp_path / "light.png", full_page=True)
    page.emulate_media(color_scheme="dark")
    page.screenshot(path=tmp_path / "dark.png", full_page=True)
    page.emulate_media(color_scheme="light")
    page.pdf(path=tmp_path / "paper.pdf", format="Letter", prefer_css_page_size=True)
    page.set_viewport_size({"width": 390, "height": 860})
    page.screenshot(path=tmp_path / "narrow.png", full_page=True)
    pictures = {p.name: p.read_bytes() for p in tmp_path.iterdir()}
    assert sorted(pictures) == ["dark.png", "light.png", "narrow.png", "paper.pdf"]
    assert min(len(picture) for picture in pictures.values()) > 15_000
    assert len(set(pictures.values())) == 4


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_site_sheet_prints_on_one_sheet(paper: str, folder: Path, visit: Visit) -> None:
    pdf = visit(folder / "sites" / "S0000.html").pdf(format=paper)
    assert pdf.count(b"/Type /Page\n") + pdf.count(b"/Type/Page\n") + pdf.count(b"/Type /Page ") == 1


WIDER = """() => [...document.querySelectorAll("main table, main figure")].filter((e) => e.offsetParent
  && e.getBoundingClientRect().right > document.documentElement.clientWidth + 1).map((e) => e.outerHTML.slice(0, 99))"""


@pytest.mark.parametrize("name", PAGES)
def test_nothing_is_cut_off_on_paper(name: str, folder: Path, visit: Visit) -> None:
    page = visit(folder / f"{name}.html", width=703)  # an A4 sheet within the margins, at 96 dots an inch
    page.emulate_media(media="print")
    assert page.evaluate(WIDER) == []


def test_times_do_not_shift_with_the_readers_zone(browser: Browser, folder: Path) -> None:
    ask = "[...document.querySelectorAll('#plot-totals .role-axis-label text')].map(t => t.textContent)"
    seen = []
    for zone in ("Pacific/Auckland", "America/Los_Angeles"):
        page = browser.new_page(timezone_id=zone)
        page.goto((folder / "operations.html").as_uri())
        page.wait_for_function("document.documentElement.dataset.drawn === 'true'")
        seen.append(page.evaluate(ask))
        page.close()
    assert seen[0] == seen[1]
    assert len(seen[0]) > 4


CARDS = {
    "training": "table.coach, #habits table, #trained table",
    "data_quality": "table.trend",
    "index": "[aria-label='Files'] table",
    "operations": "[aria-label='The latest works'] table, [aria-label='Units that changed'] table",
}


@pytest.mark.parametrize("name", CARDS)
def test_a_phone_shows_every_cell_of_a_list_without_scrolling_sideways(
    name: str, folder: Path, visit: Visit
) -> None:
    page = visit(folder / f"{name}.html", width=390)
    tables = page.locator(CARDS[name])
    assert tables.count() == len(CARDS[name].split(", "))
    for table in tables.all():
        assert table.evaluate("t => t.parentElement.scrollWidth <= t.parentElement.clientWidth")
        heads = table.locator("thead th").all_text_contents()
        cells = table.locator("tbody tr").first.locator("td")
        assert cells.count() == len(heads)
        named = [c.get_attribute("data-head") for c in cells.all()]
        assert [head for head in named if head] == [h for h, n in zip(heads, named, strict=True) if n]
        assert sum(n is None for n in named) <= 2  # the name and the reason speak for themselves
        told = cells.last.evaluate("c => getComputedStyle(c, '::before').content")
        assert heads[-1] in told


UPKEEP = """
INSERT INTO site_upkeep BY NAME
SELECT site_id, branch, equipment_id, equipment_kind, mode, 0.09 AS as_found_excess_inwc,
    rated_tesp_inwc + 0.09 AS as_found_level_inwc, level_inwc, level_lo_inwc, level_hi_inwc, rated_tesp_inwc,
    prob_over_rated, n_visits, n_visits AS n_valid, 3 AS n_filter_dirty
FROM site_static WHERE static_state = 'within_rating' ORDER BY equipment_id LIMIT 2
"""


def test_a_phone_says_what_the_figure_of_each_list_is(tmp_path: Path, visit: Visit) -> None:
    """The lists' heads are not shown on a phone: the excess of a chronic unit, the level as found of one in upkeep."""
    file = write_published(tmp_path / "fleet.duckdb")
    with duckdb.connect(str(file)) as con:
        con.execute(UPKEEP)
    draw(file, tmp_path / "reports")
    page = visit(tmp_path / "reports" / "operations.html", width=390)
    label = "c => getComputedStyle(c, '::before').content"
    for heading, told in (("return", "over the rating by"), ("upkeep", "as found")):
        figures = page.locator(f"section[aria-labelledby='l-{heading}'] td.over")
        assert figures.count() > 0
        assert told in figures.first.evaluate(label)


CUT = """name => {
  const edge = document.querySelector(`#plot-${name} svg`).getBoundingClientRect();
  const texts = [...document.querySelectorAll(`#plot-${name} svg text`)].filter((t) => t.textContent
    && t.getAttribute("opacity") !== "0" && t.closest("[opacity='0']") === null);
  const boxes = texts.map((t) => [t.textContent, t.getBoundingClientRect()]);
  return boxes.filter(([, box]) => box.left < edge.left - 1 || box.right > edge.right + 1 || box.top < edge.top - 1
    || box.bottom > edge.bottom + 1).map(([text]) => text);
}"""
LABELS = """name => [...document.querySelectorAll(`#plot-${name} .role-axis`)].map((axis) =>
  [...axis.querySelectorAll(".role-axis-label text")].filter((t) => t.getAttribute("opacity") !== "0")
    .map((t) => t.textContent)).filter((labels) => labels.length)"""
OVERPRINTED = """name => {
  const boxes = [...document.querySelectorAll(`#plot-${name} .mark-text.role-mark text`)]
    .filter((t) => t.textContent && t.getAttribute("opacity") !== "0").map((t) => t.getBoundingClientRect());
  return boxes.filter((a) => boxes.some((b) => a !== b && a.left < b.right - 1 && b.left < a.right - 1
    && a.top < b.bottom - 1 && b.top < a.bottom - 1)).length;
}"""


def charts_of(page: Page) -> list[str]:
    names: list[str] = page.evaluate("Object.keys(payload.charts)")
    return names


@pytest.mark.parametrize("name", [*PAGES, "sites/S0000"])
@pytest.mark.parametrize("width", [390, 1400])
def test_no_word_of_a_chart_is_cut(name: str, width: int, folder: Path, look: Visit) -> None:
    page = look(folder / f"{name}.html", width=width)
    for chart in charts_of(page):
        assert page.evaluate(CUT, chart) == [], chart


@pytest.mark.parametrize("name", PAGES[1:])
@pytest.mark.parametrize("width", [390, 1400])
def test_no_two_labels_of_an_axis_are_the_same(name: str, width: int, folder: Path, look: Visit) -> None:
    page = look(folder / f"{name}.html", width=width)
    for chart in charts_of(page):
        axes = page.evaluate(LABELS, chart)
        figures = [[label for label in labels if re.match(r"[+-]?\d+\.\d", label)] for labels in axes]
        assert [labels for labels in figures if len(labels) != len(set(labels))] == [], chart


@pytest.mark.parametrize("width", [390, 1400])
def test_figures_in_a_grid_do_not_overprint_each_other(width: int, folder: Path, look: Visit) -> None:
    page = look(folder / "data_quality.html", width=width)
    grids = [chart for chart in charts_of(page) if chart.startswith("grid_")]
    assert len(grids) == 4
    assert [chart for chart in grids if page.evaluate(OVERPRINTED, chart)] == []
    month = page.locator("#plot-grid_month .mark-text.role-mark text:not([opacity='0'])")
    assert (month.count() > 0) == (width == 1400)


def test_the_fleet_picture_has_figures_along_both_axes(folder: Path, look: Visit) -> None:
    along_x, along_y = look(folder / "operations.html").evaluate(LABELS, "fleet_picture")
    assert min(len(along_x), len(along_y)) > 3


def test_every_check_says_what_follows_from_it(folder: Path, look: Visit) -> None:
    page = look(folder / "data_quality.html")
    texts = "[...document.querySelectorAll('#plot-checks .mark-text.role-mark text')]"
    from_top = "(a, b) => a.getBoundingClientRect().top - b.getBoundingClientRect().top"
    told = page.evaluate(f"{texts}.sort({from_top}).map(t => t.textContent)")
    found = [row for row in page.evaluate("rowsOf('check_shares')") if row["n_visits"]]
    words = {
        "n_set_aside": "set aside",
        "n_repaired": "repaired",
        "n_not_like_new": "not like new",
        "n_drop_set_aside": "drop set aside",
        "n_note": "noted",
    }
    wanted = [
        f"{row['title']}: {100 * row['share']:.1f} %"
        + "".join(f", {row[column]} {word}" for column, word in words.items() if row[column])
        for row in sorted(found, key=lambda row: row["chart_place"])
    ]
    assert len(wanted) > 3
    assert told == wanted


@pytest.mark.parametrize(("visits", "technicians"), [(2, 1), (3, 2)])
def test_a_count_is_told_in_whole_numbers_each_once(
    visits: int, technicians: int, tmp_path: Path, visit: Visit
) -> None:
    file = write_published(
        tmp_path / "fleet.duckdb", sites=12, visits=visits, technicians=technicians, hostile=False
    )
    draw(file, tmp_path / "reports")
    for name in PAGES[1:]:
        page = visit(tmp_path / "reports" / f"{name}.html")
        for chart in charts_of(page):
            axes = page.evaluate(LABELS, chart)
            counts = [labels for labels in axes if all(re.fullmatch(r"[\d,]+", label) for label in labels)]
            assert [labels for labels in counts if len(labels) != len(set(labels))] == [], chart


def test_each_day_along_an_axis_has_its_year(folder: Path, look: Visit) -> None:
    page = look(folder / "sites" / "S0000.html", width=390)
    days = [
        labels for labels in page.evaluate(LABELS, "totals_0") if not any("." in label for label in labels)
    ]
    assert days
    assert [d for labels in days for d in labels if d and not re.fullmatch(r"\d{4}(-\d\d){0,2}", d)] == []


def test_a_level_that_is_not_judged_is_not_drawn_beside_one_that_is(tmp_path: Path, visit: Visit) -> None:
    reports = drawn_with(
        "UPDATE site_priority SET other_level_inwc = 0.9, other_state = 'too_few_visits'", tmp_path
    )
    rows = "rowsOf('ranked').filter(r => r.line_number <= 10).length"
    page = visit(reports / "operations.html")
    marks = page.locator(
        "#plot-first_ten .mark-symbol.role-mark path[stroke='var(--ink)'][fill='var(--paper)']"
    )
    assert page.evaluate(rows) > 5
    assert marks.count() == 0


def test_a_long_name_does_not_push_the_funnel_aside(tmp_path: Path, visit: Visit) -> None:
    reports = drawn_with(
        "UPDATE technician_zeroing SET technician_id = technician_id || repeat('Z', 80)", tmp_path
    )
    page = visit(reports / "training.html", width=1400)
    assert page.locator("#plot-funnel .mark-text.role-mark text").count() > 0
    assert page.evaluate(CUT, "funnel") == []


def test_readings_without_a_named_gauge_say_so(tmp_path: Path, visit: Visit) -> None:
    reports = drawn_with(
        "UPDATE instrument_offset SET instrument_id = NULL WHERE technician_id = 'T003'", tmp_path
    )
    page = visit(reports / "training.html", width=1400)
    labels = {label for axis in page.evaluate(LABELS, "offsets") for label in axis}
    assert "T003, gauge not named" in labels
    assert not any("null" in label for label in labels)


def test_a_branch_without_chronic_units_has_no_bar(tmp_path: Path, visit: Visit) -> None:
    reports = drawn_with(
        "UPDATE site_static SET static_state = 'within_rating' WHERE branch = 'Millrace'", tmp_path
    )
    page = visit(reports / "operations.html")
    (lines,) = (labels for labels in page.evaluate(LABELS, "branches") if not labels[0].isdigit())
    assert lines
    assert not any("Millrace" in line for line in lines)
    assert "Millrace" in page.evaluate("rowsOf('branches').map(r => r.branch)")


def test_tables_that_scroll_are_reached_by_the_keyboard(folder: Path, look: Visit) -> None:
    for name in PAGES:
        page = look(folder / f"{name}.html")
        assert (
            page.evaluate("[...document.querySelectorAll('.scroll')].filter(e => e.tabIndex < 0).length") == 0
        )


def test_the_page_writes_numbers_as_the_tables_in_it_do(folder: Path, look: Visit) -> None:
    """What a script writes and what stands in the page already are one number on one page."""
    page = look(folder / "operations.html")
    styles = page.evaluate("[...numbers]")
    ends = [
        0.125,
        0.285,
        0.295,
        1.005,
        2.675,
        112.5,
        113.5,
        1234.5,
        1_234_567.5,
        0.004,
        0.0005,
        0.9949,
        0.99,
        1e-9,
    ]
    numbers = [sign * x for x in (*ends, 0.0, *(k / 2000 for k in range(400))) for sign in (1, -1)]
    told = page.evaluate("([styles, numbers]) => styles.map(s => numbers.map(formats[s]))", [styles, numbers])
    assert {"inwc", "signed3", "count", "share", "chance", "q"} <= set(styles)
    for style, written in zip(styles, told, strict=True):
        asked = [x for x in numbers if x >= 0 or style in ("inwc", "inwc3", "signed", "signed3", "count")]
        of = dict(zip(numbers, written, strict=True))
        assert [(x, of[x]) for x in asked] == [(x, words.FORMATS[style](x)) for x in asked], style


def test_the_page_knows_the_formats_of_its_tables(folder: Path, look: Visit) -> None:
    page = look(folder / "operations.html")
    tables = [columns for name, columns in vars(report_columns).items() if name.isupper()]
    styles = {style for columns in tables for _, _, style in columns}
    assert len(styles) > 5
    assert styles <= set(page.evaluate("Object.keys(formats)"))
