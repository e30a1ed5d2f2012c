"""Each interaction of the pages and of the site sheet works by mouse and by keyboard."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path

import duckdb
import pytest
from playwright.sync_api import Page, expect

from reports import draw
from tests.reports.published import write_published

pytestmark = pytest.mark.browser
Visit = Callable[..., Page]


@pytest.fixture
def page(folder: Path, visit: Visit) -> Page:
    return visit(folder / "operations.html")


def shown_rows(page: Page) -> list[str]:
    return page.evaluate(  # type: ignore[no-any-return]
        "[...document.querySelectorAll('table[data-list]:not([hidden]) tbody[data-unit]:not([hidden])')]"
        ".map(b => [b.dataset.branch, b.dataset.kind, b.dataset.mode].join('|'))"
    )


def test_filter_by_mouse_keeps_only_what_matches(page: Page) -> None:
    before = shown_rows(page)
    page.select_option("select[data-filter=branch]", "Millrace")
    assert len(shown_rows(page)) > 0
    assert {row.split("|")[0] for row in shown_rows(page)} == {"Millrace"}
    assert page.evaluate("views.fleet_picture.signal('branch')") == "Millrace"
    expect(page.locator("#filter-says")).to_contain_text("listed units match")
    page.select_option("select[data-filter=branch]", "")
    assert shown_rows(page) == before
    expect(page.locator("#filter-says")).to_contain_text("They act on the lists")


def test_filter_thins_the_fleet_picture(page: Page) -> None:
    marks = page.locator("#plot-fleet_picture .mark-symbol.role-mark path")
    before = marks.count()
    page.select_option("select[data-filter=mode]", "cooling")
    expect(marks).not_to_have_count(before)
    assert 0 < marks.count() < before


def test_filter_by_keyboard(page: Page) -> None:
    page.locator("select[data-filter=mode]").focus()
    page.keyboard.press("ArrowDown")
    modes = {row.split("|")[2] for row in shown_rows(page)}
    assert "cooling" in modes
    assert all("cooling" in mode.split() for mode in modes)


def test_show_all_by_mouse_and_keyboard(page: Page) -> None:
    button = page.locator("button[data-more=l-return]")
    rows = page.locator("section[aria-labelledby=l-return] tbody[data-unit]:visible")
    assert rows.count() == 8
    button.click()
    assert rows.count() > 8
    assert button.get_attribute("aria-expanded") == "true"
    expect(button).to_have_text("Show only the first 8")
    button.press("Enter")
    assert rows.count() == 8


def test_a_site_opens_its_sheet_by_mouse(page: Page) -> None:
    link = page.locator("section[aria-labelledby=l-supply] tbody[data-unit] a").nth(2)
    unit = (
        page.locator("section[aria-labelledby=l-supply] tbody[data-unit]").nth(2).get_attribute("data-unit")
    )
    link.click()
    sheet = page.locator("article.unit:visible")
    expect(sheet).to_have_count(1)
    expect(sheet).to_be_focused()
    assert unit == page.evaluate(
        "(s => s.dataset.unit + '.' + s.dataset.mode)(document.querySelector('article.unit:not([hidden])'))"
    )
    page.wait_for_function(
        "unit => views.totals.signal('unit') + '.' + views.totals.signal('mode') === unit", arg=unit
    )


def test_a_site_opens_its_sheet_by_keyboard_and_back_returns(page: Page) -> None:
    sheet = page.locator("article.unit:visible")
    links = page.locator("section[aria-labelledby=l-return] tbody[data-unit] a")
    first = sheet.get_attribute("id")
    links.nth(3).focus()
    page.keyboard.press("Enter")
    expect(sheet).not_to_have_id(str(first))
    opened = sheet.get_attribute("id")
    links.nth(1).press("Enter")
    expect(sheet).not_to_have_id(str(opened))  # the page follows its address a moment later
    page.go_back()
    expect(sheet).to_have_id(str(opened))


def test_next_and_previous_unit_by_keyboard(page: Page) -> None:
    sheet = page.locator("article.unit:visible")
    page.locator("button[data-step='1']").press("Enter")
    expect(sheet).to_have_id("u1")
    page.locator("button[data-step='-1']").press("Space")
    expect(sheet).to_have_id("u0")


def test_a_click_in_the_picture_opens_the_unit(page: Page) -> None:
    page.locator("#plot-first_ten .mark-symbol.role-mark").last.locator("path").nth(4).click()
    target = page.evaluate("rowsOf('ranked').find(r => r.line_number === 5)")
    expect(page.locator("article.unit:visible")).to_have_attribute("data-unit", target["equipment_id"])


def test_table_behind_a_chart_follows_the_unit(page: Page) -> None:
    details = page.locator("details[data-table=totals]")
    details.locator("summary").press("Enter")
    rows = details.locator("tbody tr")
    expect(rows).not_to_have_count(0)
    first = rows.first.inner_text()
    page.locator("button[data-step='1']").click()
    expect(rows.first).not_to_have_text(first)


def test_search_finds_by_label_id_and_branch(page: Page) -> None:
    found = page.locator("#found li")
    page.locator("#find").press_sequentially("s0009")
    expect(found).to_have_count(1)
    expect(found.first).to_contain_text("S0009")
    page.fill("#find", "<b onmouse")
    expect(found.first).to_contain_text('<b onmouseover="window.hacked=1">')
    page.fill("#find", "no such site")
    expect(found).to_have_text(["Nothing found in this list."])
    page.fill("#find", "")
    expect(found).to_have_count(0)


def test_search_leads_to_a_sheet_or_tells_the_command(page: Page) -> None:
    page.fill("#find", "S0003")
    expect(page.locator("#found")).to_contain_text("fleet-static report DIR --site S0003")
    page.fill("#find", "S0009")
    page.locator("#found a").first.press("Enter")
    expect(page.locator("article.unit:visible")).to_have_attribute("data-unit", "E0009")


def test_everything_that_acts_is_reached_by_tab(page: Page) -> None:
    page.evaluate("document.body.focus()")
    reached = set()
    for _ in range(60):
        page.keyboard.press("Tab")
        reached.add(
            page.evaluate("document.activeElement.tagName + (document.activeElement.dataset.filter ?? '')")
        )
    assert {"A", "SELECTbranch", "SELECTkind", "SELECTmode", "BUTTON", "SUMMARY"} <= reached


def test_first_tab_skips_to_the_content(page: Page) -> None:
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.className") == "skip"
    page.keyboard.press("Enter")
    assert page.evaluate("document.activeElement.id") == "main"


def test_the_other_mode_of_a_unit_is_one_click_away(page: Page) -> None:
    link = page.locator("td.first small a:visible").first
    link.press("Enter")
    body = page.locator("tbody.is-open").first
    expect(body.locator("td.first small a")).to_be_visible()
    sheet = page.locator("article.unit:visible")
    assert sheet.get_attribute("data-unit") == body.get_attribute("data-equipment")
    assert f"{sheet.get_attribute('data-unit')}.{sheet.get_attribute('data-mode')}" != body.get_attribute(
        "data-unit"
    )


OTHERS = ("index", "training", "data_quality", "sites/S0000")


@pytest.mark.parametrize("name", OTHERS)
@pytest.mark.parametrize("way", ["mouse", "keyboard"])
def test_what_opens_opens_and_holds_its_rows(name: str, way: str, folder: Path, visit: Visit) -> None:
    page = visit(folder / f"{name}.html")
    for details in page.locator("details").all():
        summary, table = details.locator("summary"), details.locator("table")
        assert not table.is_visible() if table.count() else True
        summary.click() if way == "mouse" else summary.press("Enter")
        expect(details.locator("tbody tr").first).to_be_visible()
        chart = details.get_attribute("data-table")
        if chart:
            rows = page.evaluate("chart => rowsOf(payload.charts[chart].source).length", chart)
            expect(details.locator("tbody tr")).to_have_count(rows)
        summary.click() if way == "mouse" else summary.press("Space")
        expect(table).not_to_be_visible()


@pytest.mark.parametrize("name", ["operations", *OTHERS[1:]])
def test_a_mark_tells_its_figures_under_the_mouse(name: str, folder: Path, visit: Visit) -> None:
    page = visit(folder / f"{name}.html")
    for chart in page.evaluate("Object.keys(payload.charts)"):
        if "tooltip" not in page.evaluate("chart => JSON.stringify(payload.charts[chart].spec)", chart):
            continue
        page.locator(f"#plot-{chart}").scroll_into_view_if_needed()
        told = page.locator("#vg-tooltip-element.visible td.value")
        for mark in reversed(page.locator(f"#plot-{chart} .role-mark path:visible").all()[-40:]):
            mark.hover(force=True)
            if told.count():
                break
        assert told.first.inner_text(), chart
        page.mouse.move(2, 2)


@pytest.mark.parametrize("name", ["index", "sites/S0000"])
def test_every_page_leads_to_the_others_by_keyboard(name: str, folder: Path, visit: Visit) -> None:
    page = visit(folder / f"{name}.html")
    for other in ("operations", "training", "data_quality", "index"):
        page.locator(f"nav.pages a[href$='{other}.html']").press("Enter")
        page.wait_for_url(f"**/{other}.html")
        expect(page.locator("nav.pages [aria-current]")).to_have_attribute("href", f"{other}.html")


@pytest.mark.parametrize("name", OTHERS)
def test_tab_reaches_every_link_and_summary(name: str, folder: Path, visit: Visit) -> None:
    page = visit(folder / f"{name}.html")
    acting = "a[href], summary, button, [tabindex='0']"
    shown = f'[...document.querySelectorAll("{acting}")].filter(e => e.checkVisibility())'
    wanted = page.evaluate(f"{shown}.length")
    page.evaluate("document.body.focus()")
    for _ in range(wanted):
        page.keyboard.press("Tab")
        page.evaluate("document.activeElement.dataset.reached = ''")
    assert page.evaluate(f"{shown}.filter(e => !('reached' in e.dataset)).map(e => e.outerHTML)") == []


def test_a_habit_leads_to_its_check(folder: Path, visit: Visit) -> None:
    page = visit(folder / "training.html")
    link = page.locator("a[href^='data_quality.html#']").first
    check = str(link.get_attribute("href")).split("#")[1]
    link.press("Enter")
    page.wait_for_url(f"**/data_quality.html#{check}")
    expect(page.locator(f"#{check}")).to_be_in_viewport()


def test_rejected_rows_are_a_link_to_their_file(folder: Path, visit: Visit) -> None:
    href = visit(folder / "data_quality.html").locator("a[href$='.csv']").get_attribute("href")
    assert (folder / str(href)).exists()


def shown_lines(page: Page) -> list[str]:
    """The words of each line that is shown in the ranked lists and that of upkeep."""
    lines = page.locator("table[data-list] tbody:visible tr:first-child td.site")
    return [line.inner_text() for line in lines.all()]


@pytest.mark.parametrize("branch", ["", "Northbank"])
def test_with_a_mode_chosen_every_line_tells_of_that_mode(branch: str, page: Page) -> None:
    before = shown_rows(page)
    page.select_option("select[data-filter=branch]", branch)
    for mode in ("cooling", "heating"):
        page.select_option("select[data-filter=mode]", mode)
        lines = shown_lines(page)
        assert lines
        assert all(line.endswith(f", {mode}") for line in lines)
        ranked = "rowsOf('ranked').filter(r => (r.mode === mode || (r.other_rank && r.other_mode === mode))"
        wanted = page.evaluate(f"([mode, branch]) => {ranked} && (!branch || r.branch === branch)).length",
                               [mode, branch])  # fmt: skip
        assert page.locator("table[data-list] tbody:visible tr:first-child td.rank").count() == wanted > 0
        assert branch or page.locator("tbody[data-second]:visible").count() > 0
    for name in ("branch", "mode"):
        page.select_option(f"select[data-filter={name}]", "")
    assert shown_rows(page) == before
    assert page.locator("tbody[data-second]:visible").count() == 0


def test_a_heading_says_how_many_units_match(page: Page) -> None:
    tail = page.locator("section[aria-labelledby=l-supply] .tail")
    before = tail.inner_text()
    page.select_option("select[data-filter=branch]", "Millrace")
    lines = page.locator("section[aria-labelledby=l-supply] tbody:visible")
    units = page.locator("section[aria-labelledby=l-supply] tbody:not([data-second])").count()
    assert 0 < lines.count() < units
    expect(tail).to_have_text(f"{lines.count()} of {units} listed units", use_inner_text=True)
    page.select_option("select[data-filter=branch]", "")
    expect(tail).to_have_text(before, use_inner_text=True)


def test_show_all_shows_each_unit_once(page: Page) -> None:
    page.locator("button[data-more=l-return]").click()
    shown = page.locator("section[aria-labelledby=l-return] tbody:visible")
    units = shown.evaluate_all("bodies => bodies.map(b => b.dataset.equipment)")
    assert len(units) == len(set(units)) > 8


TOLD = """() => Object.values(views).flatMap((view) => {
  const told = [];
  const walk = (item) => {
    if (item.tooltip) told.push(tip(item.tooltip, String));
    (item.items ?? []).forEach(walk);
  };
  walk(view.scenegraph().root);
  return told;
})"""


@pytest.mark.parametrize("name", ["operations", "data_quality", "training"])
def test_a_mark_tells_words_and_nothing_that_is_not_known(name: str, tmp_path: Path, visit: Visit) -> None:
    """No key of a list where the page has a word for it, no line without a value, a site without a name by its id."""
    file = write_published(tmp_path / "fleet.duckdb", hostile=False)
    with duckdb.connect(str(file)) as con:
        con.execute("UPDATE site SET site_label = NULL")
        con.execute("UPDATE site_priority SET site_label = NULL, check_first = NULL WHERE rank % 2 = 0")
    draw(file, tmp_path / "reports")
    told = visit(tmp_path / "reports" / f"{name}.html").evaluate(TOLD)
    cells = [cell for one in told for cell in re.findall(r'class="value">([^<]*)<', one)]
    assert len(cells) > 50
    assert {cell for cell in cells if not cell or cell == "null"} == set()
    assert {cell for cell in cells if re.fullmatch(r"[a-z]+(_[a-z]+)+", cell)} == set()
    assert name != "operations" or {"S0000", "S0001"} & set(cells)
