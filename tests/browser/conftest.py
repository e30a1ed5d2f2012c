"""A real browser for the pages: Chromium, driven by Playwright. Without it the tests are skipped, in CI they fail."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, sync_playwright

from reports import draw, draw_site_sheet
from tests.reports.published import write_empty, write_published

CHROMIUM = Path("/usr/bin/chromium")
FLAGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
PAGES = ("index", "operations", "training", "data_quality")


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    if not CHROMIUM.exists():
        if os.environ.get("CI"):
            pytest.fail(f"{CHROMIUM} is missing: .ci/run installs it")
        pytest.skip(f"no browser at {CHROMIUM}; apt-get install chromium")
    with sync_playwright() as playwright:
        opened = playwright.chromium.launch(executable_path=str(CHROMIUM), args=FLAGS)
        yield opened
        opened.close()


@pytest.fixture(scope="session")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The pages of a made-up publication, and the sheet of one site."""
    file = write_published(tmp_path_factory.mktemp("browser") / "fleet.duckdb", sites=84)
    reports = file.with_name("reports")
    draw(file, reports)
    draw_site_sheet(file, reports, "S0000")
    return reports


@pytest.fixture(scope="session")
def empty_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    file = write_empty(tmp_path_factory.mktemp("browser_empty") / "fleet.duckdb")
    draw(file, file.with_name("reports"))
    return file.with_name("reports")


@pytest.fixture
def visit(browser: Browser) -> Iterator[Callable[..., Page]]:
    """Open a page and wait for its charts; what it says on the console or asks for outside itself fails the test."""
    opened: list[Page] = []
    complaints: list[str] = []

    def open_page(path: Path, width: int = 1280, scheme: str = "light") -> Page:
        opened.append(_open(browser, path, width, scheme, complaints))
        return opened[-1]

    yield open_page
    for page in opened:
        page.close()
    assert complaints == []


@pytest.fixture(scope="module")
def look(browser: Browser) -> Iterator[Callable[..., Page]]:
    """Likewise, for tests that only look at a page of a module's: it stays open for the next one."""
    opened: dict[tuple[Path, int], Page] = {}
    complaints: list[str] = []

    def open_page(path: Path, width: int = 1400) -> Page:
        if (path, width) not in opened:
            opened[path, width] = _open(browser, path, width, "light", complaints)
        assert complaints == []
        return opened[path, width]

    yield open_page
    for page in opened.values():
        page.close()
    assert complaints == []


def _open(browser: Browser, path: Path, width: int, scheme: str, complaints: list[str]) -> Page:
    page = browser.new_page(viewport={"width": width, "height": 860}, color_scheme=scheme)  # type: ignore[arg-type]
    page.on("console", lambda message: complaints.append(f"console: {message.text}"))
    page.on("pageerror", lambda error: complaints.append(f"error: {error}"))
    page.on(
        "request",
        lambda r: None if r.url.startswith("file:") else complaints.append(f"asked for {r.url}"),
    )
    page.goto(path.as_uri())
    page.wait_for_function("document.documentElement.dataset.drawn === 'true'", timeout=60_000)
    return page
