"""Reports: HTML pages drawn from a published file. Charts draw, SQL computes; nothing upstream knows of them.

`draw` makes the four pages, `draw_site_sheet` the sheet of one site. Both read the published file only.
"""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import closing
from pathlib import Path

from pipeline.imports import make_polars_ready
from reports import caps, words
from reports.data_quality import data_quality_page
from reports.index import index_page
from reports.operations import operations_page
from reports.page import charts_unchecked
from reports.queries import Published, Row
from reports.site_sheet import draw_again, draw_site_sheet, sheets_in
from reports.swap import swapped_in
from reports.training import training_page
from reports.worklists import NAMES, write_worklists

__all__ = ["PAGES", "draw", "draw_site_sheet", "sheets_in", "sheets_left"]

PAGES = {
    "index.html": index_page,
    "operations.html": operations_page,
    "training.html": training_page,
    "data_quality.html": data_quality_page,
}
AT_ONCE = 2  # pages under way


def _quiet(_: str) -> None:
    return None


def draw(published_file: Path, folder: Path, say: Callable[[str], None] = _quiet) -> list[Path]:
    """Draw all pages and worklists of a published file into `folder`, which is replaced as a whole; return the paths.

    Sheets of sites that lie there are drawn again, the newest SHEETS of them, if their site is still published.
    Pages are drawn beside each other: most of the time the database or a compressor is at work, not Python. A run that
    is killed leaves the pages of the last publication as they were. Raises UsageError where nothing is published,
    StageError where a query breaks.
    """
    make_polars_ready()
    published = Published.open(published_file)
    sheets = sheets_in(folder)
    try:
        publication = published.rows("publication").one
        with swapped_in(folder) as new, charts_unchecked(), ThreadPoolExecutor(AT_ONCE) as pool:
            parts: list[Future[None]] = [
                pool.submit(_draw_worklists, published.beside(), publication, new, say)
            ]
            parts += [
                pool.submit(_draw_page, name, published.beside(), publication, new, say) for name in PAGES
            ]
            again = pool.submit(_draw_sheets, published.beside(), sheets, new, say)
            try:
                for part in parts:
                    part.result()
                drawn = again.result()
            except BaseException:
                pool.shutdown(wait=False, cancel_futures=True)
                raise
    finally:
        published.close()
    sheets = [folder / "sites" / sheet.name for sheet in drawn]
    return [*(folder / name for name in (*PAGES, *NAMES)), *sheets]


def _draw_page(
    name: str, published: Published, publication: Row, folder: Path, say: Callable[[str], None]
) -> None:
    with closing(published):
        say(f"drawing {name}")
        (folder / name).write_text(PAGES[name](published, publication), encoding="utf-8")


def _draw_worklists(published: Published, publication: Row, folder: Path, say: Callable[[str], None]) -> None:
    with closing(published):
        say("writing the worklists")
        write_worklists(published, publication, folder)


def _draw_sheets(
    published: Published, sheets: list[Path], folder: Path, say: Callable[[str], None]
) -> list[Path]:
    with closing(published):
        if sheets:
            say("drawing the sheets again that were there")
        drawn = draw_again(published, sheets[: caps.SHEETS], folder)
        if left := len(sheets) - len(drawn):
            say(f"{sheets_left(left)}; `report --site ID` draws one")
    return drawn


def sheets_left(n: int) -> str:
    """That so many sheets were not drawn again, and why."""
    return (
        f"{n} site {words.several(n, 'sheet')} of before {'was' if n == 1 else 'were'} removed: of sites that are no "
        f"longer published, or beyond the newest {caps.SHEETS}"
    )
