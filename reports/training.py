"""The training page: who to coach and on what, with n and interval. Reasons to coach, never proof of fault."""

from __future__ import annotations

from reports import caps, columns, words
from reports.charts import practice
from reports.page import Figure, Page
from reports.queries import Published, Row


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
        habits=list(habits),
        trained=list(published.rows("since_training", top=caps.COACHING)),
        state_words=words.ZEROING_STATES,
        min_visits=words.count(limits["technician_min_visits"]),
        material=words.inwc(limits["offset_material_inwc"]),
        technician_q=words.inwc(limits["technician_q"]),
    )
