"""Rules of accessibility that a machine can check: axe-core, WCAG 2.2 A and AA and its best practice, both themes."""

from __future__ import annotations

from collections.abc import Callable
from importlib.resources import files
from importlib.util import find_spec
from pathlib import Path

import pytest
from playwright.sync_api import Page

from reports import draw, draw_site_sheet
from tests.browser.conftest import PAGES
from tests.reports.published import write_published

pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(
        find_spec("axe_playwright_python") is None, reason="axe-playwright-python is not installed"
    ),
]
RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]


@pytest.fixture(scope="module")
def small(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A small publication with every state in it: axe looks at each element, of which the full one has too many."""
    file = write_published(tmp_path_factory.mktemp("access") / "fleet.duckdb", sites=14, technicians=6)
    draw(file, file.with_name("reports"))
    draw_site_sheet(file, file.with_name("reports"), "S0000")
    return file.with_name("reports")


def violations(page: Page, only: list[str] | dict[str, object]) -> list[str]:
    page.evaluate(files("axe_playwright_python").joinpath("axe.min.js").read_text(encoding="utf-8") + ";0")
    found = page.evaluate("rules => axe.run(document, {runOnly: rules})", only)["violations"]
    return [f"{v['id']}: {v['nodes'][0]['html'][:200]}" for v in found]


@pytest.mark.parametrize("name", [*PAGES, "sites/S0000"])
def test_axe_finds_nothing(name: str, small: Path, visit: Callable[..., Page]) -> None:
    page = visit(small / f"{name}.html")
    page.evaluate("[...document.querySelectorAll('details')].slice(0, 3).forEach(d => { d.open = true; })")
    assert violations(page, RULES) == []
    page.emulate_media(color_scheme="dark")
    assert violations(page, {"type": "rule", "values": ["color-contrast"]}) == []


def test_axe_can_find_something(small: Path, visit: Callable[..., Page]) -> None:
    page = visit(small / "index.html")
    page.evaluate("document.body.append(document.createElement('button'))")
    assert any(v.startswith("button-name") for v in violations(page, RULES))
