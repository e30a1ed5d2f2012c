"""The training page: who to coach and on what, with n and interval. Reasons to coach, never proof of fault."""

from __future__ import annotations

from itertools import groupby

from reports import caps, columns, words
from reports.charts import practice
from reports.page import Figure, Page
from reports.queries import Published, Row

ADVICE = {
    "recalibrate_now": "recalibrate now",
    "recalibrate_by_then": "recalibrate by",
    "none": "nothing to do",
    "cannot_be_told": "cannot be told",
    "too_few_visits": "too few visits",
}


def training_page(published: Published, publication: Row) -> str:
    """The finished page."""
    page = Page(published)
    headline = published.rows("training_headline").one
    coaching = published.rows("coaching", top=caps.COACHING)
    technicians = published.rows("zeroing_funnel", points=caps.POINTS)
    habits = published.rows("habits", top=caps.HABITS)
    if any(row["technician_id"] is not None for row in technicians):
        alt = "Rate of visits without a zero against the number of visits, with the funnel's upper limit."
        page.draw(Figure("funnel", practice.funnel(technicians), technicians, alt, columns.FUNNEL))
    offsets = published.rows("offsets", top=caps.OFFSET_PAIRS)
    if len(offsets):
        alt = "Offset of each technician's readings with one instrument from what others find at the same sites."
        page.draw(Figure("offsets", practice.offsets(offsets), offsets, alt, columns.OFFSETS))
    limits = {row["name"]: row["value"] for row in published.rows("limits")}
    return page.html(
        "training.html.j2",
        title="Training",
        current="training.html",
        publication=publication,
        headline=headline,
        coaching=list(coaching),
        look_at=_by_finding(published),
        gauges=list(published.rows("gauges", top=caps.GAUGES)),
        judged=published.rows("gauges_judged").one,
        advice_words=ADVICE,
        habits=list(habits),
        trained=list(published.rows("since_training", top=caps.COACHING)),
        state_words=words.ZEROING_STATES,
        min_visits=words.count(limits["technician_min_visits"]),
        material=words.inwc(limits["offset_material_inwc"]),
        technician_q=words.inwc(limits["technician_q"]),
    )


def _by_finding(published: Published) -> list[list[Row]]:
    """The visits to look at together, a list for each technician and finding, in the query's order."""
    rows = published.rows("coaching_visits", newest=caps.COACHING_VISITS, top=caps.COACHING_FINDINGS)
    return [list(group) for _, group in groupby(rows, key=lambda row: (row["technician_id"], row["finding"]))]
