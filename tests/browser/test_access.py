"""Rules of accessibility that a machine can check: axe-core, WCAG 2.2 A and AA and its best practice, both themes."""

from __future__ import annotations

from collections.abc import Callable
from importlib.resources import files
from importlib.util import find_spec
from pathlib import Path

import pytest
from playwright.sync_api import Page

from tests.browser.conftest import PAGES

pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(
        find_spec("axe_playwright_python") is None, reason="axe-playwright-python is not installed"
    ),
]
RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]


def violations(page: Page) -> list[str]:
    page.evaluate(files("axe_playwright_python").joinpath("axe.min.js").read_text(encoding="utf-8") + ";0")
    found = page.evaluate("rules => axe.run(document, {runOnly: rules})", RULES)["violations"]
    return [f"{v['id']}: {v['nodes'][0]['html'][:200]}" for v in found]


@pytest.mark.parametrize("name", [*PAGES, "sites/S0000"])
def test_axe_finds_nothing(name: str, folder: Path, visit: Callable[..., Page]) -> None:
    page = visit(folder / f"{name}.html")
    page.evaluate("document.querySelectorAll('details').forEach(d => { d.open = true; })")
    for scheme in ("light", "dark"):
        page.emulate_media(color_scheme=scheme)  # type: ignore[arg-type]
        assert violations(page) == []


def test_axe_can_find_something(folder: Path, visit: Callable[..., Page]) -> None:
    page = visit(folder / "index.html")
    page.evaluate("document.body.append(document.createElement('button'))")
    assert any(v.startswith("button-name") for v in violations(page))
