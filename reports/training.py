"""The training page: who to coach and on what, with n and interval. Reasons to coach, never proof of fault."""

from __future__ import annotations

from itertools import groupby

from reports import caps, columns, words
from reports.charts import practice
from reports.page import Figure, Page
from reports.queries import Published, Result, Row

ADVICE = {
    "recalibrate_now": "recalibrate now",
    "recalibrate_by_then": "recalibrate by",
    "none": "far from a material offset; look again at its next calibration",
    "cannot_be_told": "cannot be told",
    "too_few_visits": "too few visits",
}
# What a doubtful offset goes with (offset_follows).
FOLLOWS = {
    "instrument": "It goes with the gauge, not with the person: other hands read off with it too, or this one reads "
    "right with another.",
    "technician": "It goes with the person, not with the gauge: readings with other gauges are off too, or other hands "
    "read right with this one. Where and how ports are chosen may do that as well as zeroing.",
    "cannot_be_told": "Person or gauge: cannot be told.",
}
PORTS = (
    "Where the ports go, by the kind of unit and by what its rating covers (sketches on the data-quality page). "
    "Find both places together at the next two visits."
)
SIGNS = "Which hose goes on which port, and what each must show with the blower on: return below zero, supply above."
# By check of how readings are taken: what to teach where its share stands out (common practice, no source).
# zero_not_recorded has its own list; nobody is judged by what belongs to a unit or a gauge.
TEACH = {
    "return_port_wrong": PORTS,
    "supply_port_wrong": PORTS,
    "ports_swapped": SIGNS,
    "return_sign_wrong": SIGNS,
    "supply_sign_wrong": SIGNS,
    "unit_mismatch": "Set the gauge to in. w.c. before the first port; write the unit that it shows.",
    "tesp_sum_mismatch": "Supply minus return, with the return below zero: the sizes of the two add up.",
    "probe_near_turn": "Choose a straight stretch, away from turns, transitions and dampers; write down where it was.",
    "stage_not_high": "Call for high stage, wait until the blower has come up, then read.",
    "one_side_near_zero": "Look at hose, tip and hole before a side at zero is written down; read it again.",
    "reading_near_zero": "Is the blower on and are both hoses in the duct? Zero in free air, never in the duct.",
    "zero_offset_large": "A gauge that does not come back to zero at atmosphere is zeroed again, or goes to service.",
    "zero_stale": "Zero at each site, just before the first port, and again after hours.",
    "zero_after_reading": "The zero comes before the readings; write down its time when it is taken.",
    "zeros_unchanged": "Read the zero of each port anew at each site and write what it shows, to the last digit.",
    "digits_preferred": "Read to the gauge's last digit and write what it shows, not the nearest round figure.",
    "readings_repeated": "Write each reading down at the unit, before the next one is taken.",
    "visits_too_close": "Write down the time of each test when it is made.",
    "holes_left_open": "Plug each hole after the test, and write it down.",
    "filter_dirty": "It was seen and written down, which is right. "
    "Put a clean filter in before the test, where that is agreed, and write down how the old one looked.",
    "registers_closed": "Open registers and dampers before the test; write down which had to stay closed, and why.",
    "component_drop_impossible": "One tip before the part and one after it, gauge zeroed: the drop has no sign, and is "
    "never larger than the static on that side.",
    "filter_drop_over_rating": "Read the drop again with a clean filter and both tips in straight flow; was a total "
    "written down as a drop?",
    "reading_out_of_range": "Look at the gauge's unit and the decimal point, and read again before writing it down.",
    "airflow_against_table": "Look together at one unit: which tap and mode ran, and how the airflow was measured.",
    "visit_in_future": "Look at the date of what the visit is written down with.",
}


def training_page(published: Published, publication: Row) -> str:
    """The finished page."""
    page = Page(published)
    headline = published.rows("training_headline").one
    coaching = published.rows("coaching", top=caps.COACHING, months=caps.COACHING_MONTHS)
    technicians = published.rows("zeroing_funnel", points=caps.POINTS)
    habits = published.rows("habits", top=caps.HABITS)
    if len(technicians):
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
        line_top=max((row["line_peak_rate"] or 0.0 for row in coaching), default=0.0) or 1.0,
        look_at=_by_finding(published),
        pairs=_pairs(offsets),
        marks=_marks(technicians),
        gauges=list(published.rows("gauges", top=caps.GAUGES)),
        judged=published.rows("gauges_judged").one,
        advice_words=ADVICE,
        follows_words=FOLLOWS,
        habits=list(habits),
        teach=TEACH,
        trained=list(published.rows("since_training", top=caps.COACHING)),
        state_words=words.ZEROING_STATES,
        min_visits=words.count(limits["technician_min_visits"]),
        material=words.inwc(limits["offset_material_inwc"]),
        min_group=words.count(limits["offset_min_group"]),
        min_voices=words.count(limits["offset_min_voices"]),
        technician_q=words.inwc(limits["technician_q"]),
    )


def _marks(technicians: Result) -> str:
    """How many technicians the funnel shows, where it does not show all."""
    n_all = technicians.one_of("n_all") or 0
    return f"; {len(technicians)} of {words.count(n_all)} are drawn" if len(technicians) < n_all else ""


def _pairs(offsets: Result) -> str:
    """How many pairs of technician and instrument are drawn, of how many."""
    n_all = offsets.one_of("n_pairs") or 0
    shown = offsets.frame.select("technician_id", "instrument_id").n_unique()
    cut = f"the {shown} largest of " if shown < n_all else ""
    return f"{cut}{words.count(n_all)} {words.several(n_all, 'pair')}"


def _by_finding(published: Published) -> list[list[Row]]:
    """The visits to look at together, a list for each technician and finding, in the query's order."""
    rows = published.rows("coaching_visits", newest=caps.COACHING_VISITS, top=caps.COACHING_FINDINGS)
    return [list(group) for _, group in groupby(rows, key=lambda row: (row["technician_id"], row["finding"]))]
