"""The index: what was loaded, when, from which files, the gate, and one line for each page."""

from __future__ import annotations

from reports import caps
from reports.page import Page
from reports.queries import Published, Row

JUDGED = ("chronic", "uncertain", "upkeep", "within_rating")  # states of sites with visits enough


def index_page(published: Published, publication: Row) -> str:
    """The finished page."""
    page = Page(published)
    states = list(published.rows("fleet_state"))
    return page.html(
        "index.html.j2",
        title="Fleet static",
        current="index.html",
        publication=publication,
        headline=published.rows("headline").one,
        chronic=[row for row in states if row["fleet_state"] == "chronic"],
        judged=any(row["fleet_state"] in JUDGED for row in states),
        changes=list(published.rows("changes")),
        training=published.rows("training_headline").one,
        fates=list(published.rows("visit_fates")),
        totals=published.rows("ledger_totals").one,
        ledger=list(published.rows("ledger", top=caps.LEDGER_ROWS)),
        gate=list(published.rows("gate")),
        settings=list(published.rows("settings")),
    )
