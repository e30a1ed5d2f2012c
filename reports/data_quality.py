"""The data-quality page: what became of the visits and rows, what each check finds, and why."""

from __future__ import annotations

from typing import Any

from reports import caps, columns, words
from reports.charts import quality
from reports.page import Figure, Page
from reports.queries import Published, Result, Row

GROUPINGS = {
    "month": ("By month", "month of the visit"),
    "branch": ("By branch", "branch"),
    "technician": ("By technician", "technician"),
    "instrument": ("By instrument", "instrument"),
}

GAUGE_NOTE = (
    " A gauge in one hand shows that hand's habits too, and may tell whose it is: no proof of fault either."
)
# What is said below a chart of people, or of gauges, which may stand for people.
NOTES = {
    "aside_technician": " For whatever reason, a wrong row of the unit among them. A reason to look and to coach, "
    "never proof of fault.",
    "aside_instrument": GAUGE_NOTE,
    "technician": " Only checks of how a reading was taken: what a unit or a gauge shows says nothing of a technician. "
    "Intervals stand in the figures behind. A reason to look and to coach, never proof of fault.",
    "instrument": GAUGE_NOTE,
}


def data_quality_page(published: Published, publication: Row) -> str:
    """The finished page."""
    page = Page(published)
    fates = published.rows("visit_fates")
    checks = published.rows("check_shares")
    by_month = published.rows("fates_by_month", months=caps.MONTHS)
    if len(by_month):
        alt = "What became of each month's visits: used as recorded, repaired, not like new, set aside."
        page.draw(Figure("fates", quality.fates(by_month), by_month, alt, columns.FATES))
    if any(row["n_visits"] for row in checks):
        alt = "Share of all visits that each check finds."
        page.draw(Figure("checks", quality.checks(checks), checks, alt, columns.CHECKS))
    limits = {row["name"]: row["value"] for row in published.rows("limits")}
    context: dict[str, Any] = {
        "fates": _fates(fates),
        "checks": list(checks),
        "totals": published.rows("ledger_totals").one,
        "ledger": list(published.rows("ledger", top=caps.LEDGER_ROWS)),
        "repairs": list(published.rows("repair_counts")),
        "examples": list(published.rows("repair_examples", top=caps.REPAIR_EXAMPLES)),
        "reasons": list(published.rows("rejected_reasons")),
        "rejected": list(published.rows("rejected_rows", top=caps.REJECTED_ROWS)),
        "trend": list(published.rows("check_trend", months=caps.MONTHS)),
        "months_words": _months_words(by_month),
        "aside": {name: said for name in ("technician", "instrument") if (said := _aside(page, name))},
        "groupings": {name: said for name in GROUPINGS if (said := _grid(page, name))},
        "grouping_titles": {name: title for name, (title, _) in GROUPINGS.items()},
        "min_visits": words.count(limits["technician_min_visits"]),
    }
    return page.html(
        "data_quality.html.j2",
        title="Data quality",
        current="data_quality.html",
        publication=publication,
        fate_words=words.FATES,
        notes=NOTES,
        **context,
    )


def _fates(result: Result) -> list[Row]:
    rows = []
    for row in result:
        row["n"] = row["n_visits"]
        row["fill"] = row["fate"]
        rows.append(row)
    return rows


def _months_words(by_month: Result) -> str:
    """Which months are drawn: all that there are, or the latest of them."""
    shown, n_all = by_month.frame["visit_month"].n_unique(), by_month.one_of("n_months")
    return _of_all(shown, n_all or 0, "month", "the latest {}")


def _of_all(shown: int, n_all: int, noun: str, first: str) -> str:
    """How many of all are drawn: "the latest 24 of 51 months", or "3 branches" where that is all."""
    cut = f"{first.format(shown)} of " if shown < n_all else ""
    return f"{cut}{words.count(n_all)} {words.several(n_all, noun)}"


def _aside(page: Page, grouping: str) -> str:
    """Draw the shares set aside by technician or instrument; how many are drawn, "" where none has enough visits."""
    shares = page.published.rows(
        "aside_by_group", key=f"aside_by_{grouping}", grouping=grouping, groups=caps.GROUPS
    )
    if not len(shares):
        return ""
    alt = f"Share of visits set aside by {grouping}, with its interval and the fleet's share."
    page.draw(
        Figure(f"aside_{grouping}", quality.aside(shares, grouping), shares, alt, columns.aside(grouping))
    )
    return _of_all(len(shares), shares.one_of("n_members"), grouping, "the {} with the highest lower limit,")


def _grid(page: Page, grouping: str) -> str:
    """Draw the checks by one grouping; how many members are drawn, "" where nothing was found in it."""
    most = caps.MONTHS if grouping == "month" else caps.GROUPS
    shares = page.published.rows(
        "checks_by_group", key=f"checks_by_{grouping}", grouping=grouping, groups=most
    )
    if not len(shares):
        return ""
    title, member = GROUPINGS[grouping]
    alt = f"Share of visits that each check finds, {title.lower()}."
    widest = 330 + 70 * shares.frame["member"].n_unique()
    page.draw(
        Figure(f"grid_{grouping}", quality.grid(shares, member), shares, alt, columns.grid(member), widest)
    )
    first = "the latest {}" if grouping == "month" else "the {} with most visits,"
    return _of_all(shares.one_of("n_shown"), shares.one_of("n_members"), grouping, first)
