"""Reports: HTML pages drawn from a published file. Charts draw, SQL computes; nothing upstream knows of them.

`draw` makes the four pages, `draw_site_sheet` the sheet of one site. Both read the published file only.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from reports.data_quality import data_quality_page
from reports.index import index_page
from reports.operations import operations_page
from reports.page import charts_unchecked
from reports.queries import Published
from reports.site_sheet import draw_site_sheet
from reports.swap import swapped_in
from reports.training import training_page
from reports.worklists import NAMES, write_worklists

__all__ = ["PAGES", "draw", "draw_site_sheet"]

PAGES = {
    "index.html": index_page,
    "operations.html": operations_page,
    "training.html": training_page,
    "data_quality.html": data_quality_page,
}


def _quiet(_: str) -> None:
    return None


def draw(published_file: Path, folder: Path, say: Callable[[str], None] = _quiet) -> list[Path]:
    """Draw all pages and worklists of a published file into `folder`, which is replaced as a whole; return the paths.

    A run that is killed leaves the pages of the last publication as they were. Raises UsageError where nothing is
    published, StageError where a query breaks.
    """
    published = Published.open(published_file)
    try:
        publication = published.rows("publication").one
        with swapped_in(folder) as new, charts_unchecked():
            for name, page in PAGES.items():
                say(f"drawing {name}")
                published.forget("publication")
                (new / name).write_text(page(published, publication), encoding="utf-8")
            say("writing the worklists")
            write_worklists(published, publication, new)
    finally:
        published.close()
    return [folder / name for name in (*PAGES, *NAMES)]
