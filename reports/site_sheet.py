"""The sheet of one site: a page to hand to a crew, printable on one sheet of paper, with the ports for that unit.

What belongs here: which queries and charts make the sheet, and the answer for a site that does not exist.
"""

from __future__ import annotations

import hashlib
import re
from pathlib import Path

from pipeline.errors import UsageError
from reports import caps, columns
from reports.charts import unit
from reports.operations import CHANGE_WORDS, SIDE_IFS, SIDE_TITLES, STATE_WORDS, rising_lines, what_if
from reports.page import Figure, Page, charts_unchecked
from reports.queries import Published, Row


def draw_site_sheet(published_file: Path, folder: Path, site_id: str) -> Path:
    """Draw the sheet of one site into `folder`/sites and return its path.

    Raises UsageError where nothing is published or the site does not exist (with near matches).
    """
    published = Published.open(published_file)
    try:
        known = published.rows("site_known", site_id=site_id)
        if not len(known):
            raise UsageError(_no_such_site(published, site_id))
        with charts_unchecked():
            return _write(published, known.one, folder)
    finally:
        published.close()


def sheets_in(folder: Path) -> list[Path]:
    """The sheets that were drawn into a folder of pages, the newest first."""
    sheets = [(path.stat().st_mtime, path.name, path) for path in (folder / "sites").glob("*.html")]
    return [path for *_, path in sorted(sheets, reverse=True)]


def draw_again(published: Published, sheets: list[Path], folder: Path) -> list[Path]:
    """Draw these sheets of an earlier publication into `folder`/sites; those of sites that are no longer published are
    left out. Return their paths."""
    drawn = []
    for sheet in reversed(sheets):  # so that the newest is still the newest
        site_id = _site_of(sheet.stem)
        own = published.beside()
        try:
            known = own.rows("site_known", site_id=site_id)
            if len(known) and file_name(site_id) == sheet.stem:
                drawn.append(_write(own, known.one, folder))
        finally:
            own.close()
    return drawn


def _write(published: Published, site: Row, folder: Path) -> Path:
    html = _sheet(published, site)
    path = folder / "sites" / f"{file_name(site['site_id'])}.html"
    path.parent.mkdir(parents=True, exist_ok=True)
    unfinished = path.with_suffix(".html.new")
    unfinished.write_text(html, encoding="utf-8")
    unfinished.replace(path)
    return path


def file_name(site_id: str) -> str:
    """A site's id as a file name: letters, digits, dot, dash; anything else as its code point; at most 100 long, with
    a hash where it is cut."""
    name = re.sub(r"[^A-Za-z0-9.-]|^\.", lambda m: f"_{ord(m.group()):x}_", site_id)
    if len(name) <= 100:
        return name
    return f"{name[:87]}_{hashlib.sha256(site_id.encode()).hexdigest()[:12]}"


def _site_of(name: str) -> str:
    """The site's id of a file name, if the name holds all of it."""
    return re.sub(r"_([0-9a-f]{1,6})_", lambda m: chr(min(int(m[1], 16), 0x10FFFF)), name)


def _no_such_site(published: Published, site_id: str) -> str:
    near = [
        f"{_plain(row['site_id'])} ({_plain(row['site_label'] or 'no name')})"
        for row in published.rows("near_matches", asked=site_id)
    ]
    asked = f"{site_id[:80]!r}: no site with this id is published"
    return f"{asked}; near it: {', '.join(near)}" if near else f"{asked}; no site is published at all"


def _plain(text: str) -> str:
    """`text` in one line, with nothing in it that a terminal would obey."""
    return repr(text)[1:-1]


def _sheet(published: Published, site: Row) -> str:
    """The finished sheet."""
    page = Page(published)
    publication = published.rows("publication").one
    listed = published.rows("site_units", site_id=site["site_id"], top=caps.SITE_UNITS)
    units = [str(row["equipment_id"]) for row in listed]
    facts = published.rows("unit_facts", units=units, sheets=[])
    visits = published.rows("unit_visits", units=units, newest=caps.NEWEST_VISITS)
    work = page.carry(published.rows("unit_work", units=units))
    split = published.rows("unit_causes", units=units)
    page.carry(facts)
    rows = list(facts)
    for i, row in enumerate(rows):
        this = (row["equipment_id"], row["mode"])
        alt = f"Total external static of {row['equipment_id']} in {row['mode']} over time against its rating."
        page.draw(
            Figure(
                f"totals_{i}",
                unit.totals(visits, facts, work, *this, height=108),
                visits,
                alt,
                columns.VISITS,
            )
        )
        if row["problem_side"] != "none":
            alt = f"The mean excess of {row['equipment_id']} in {row['mode']}, split into its causes."
            page.draw(Figure(f"causes_{i}", unit.causes(split, *this, height=66), split, alt, columns.CAUSES))
    return page.html(
        "site_sheet.html.j2",
        title=f"Site {site['site_id']}",
        current="",
        publication=publication,
        site=site,
        facts=rows,
        visits=list(visits),
        works=list(work),
        sheet_ids={},
        cut=next((row for row in page.carry(listed) if row["n_units"] > len(listed)), None),
        equipment=list(published.rows("unit_equipment", units=units)),
        what_if=what_if(published, units),
        change_words=CHANGE_WORDS,
        side_titles=SIDE_TITLES,
        side_ifs=SIDE_IFS,
        **rising_lines(published, units),
        state_words=STATE_WORDS,
    )
