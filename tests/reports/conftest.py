"""Published files made by hand, and the pages drawn from them, once a session."""

from __future__ import annotations

from pathlib import Path

import pytest

from reports import draw
from tests.reports.published import write_empty, write_one_visit, write_published


@pytest.fixture(scope="session")
def published_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A publication with every state and side, and hostile words in labels and notes."""
    return write_published(tmp_path_factory.mktemp("full") / "fleet.duckdb", sites=84)


@pytest.fixture(scope="session")
def pages(published_file: Path) -> Path:
    folder = published_file.with_name("reports")
    draw(published_file, folder)
    return folder


@pytest.fixture(scope="session")
def empty_pages(tmp_path_factory: pytest.TempPathFactory) -> Path:
    file = write_empty(tmp_path_factory.mktemp("empty") / "fleet.duckdb")
    draw(file, file.with_name("reports"))
    return file.with_name("reports")


@pytest.fixture(scope="session")
def one_visit_pages(tmp_path_factory: pytest.TempPathFactory) -> Path:
    file = write_one_visit(tmp_path_factory.mktemp("one") / "fleet.duckdb")
    draw(file, file.with_name("reports"))
    return file.with_name("reports")
