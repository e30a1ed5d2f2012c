"""Technicians: how often the zero is skipped, and whose readings lie off."""

from __future__ import annotations

import json
from typing import Any

import altair as alt

from reports import words
from reports.charts.parts import INWC, SIGNED, TICKS, count_axis, row_height, rows_of, share_axis
from reports.queries import Result

NAMED = ("skips_zero", "zero_doubtful")
STATES = {state: words.ZEROING_STATES[state] for state in (*NAMED, "zeroes")}
FUNNEL_HEIGHT = 320  # px
NAME_WIDTH = 120  # px: of a longer name the beginning
# Where a name may stand beside its mark: align, baseline, and how far off in px.
NAME_PLACES = {
    "right": ("left", "middle", 9, 0),
    "left": ("right", "middle", -9, 0),
    "above": ("center", "bottom", 0, -8),
    "below": ("center", "top", 0, 8),
}


def funnel(technicians: Result) -> Any:
    """Rate of visits without a zero against the number of visits, with the funnel's upper limit and the fleet's rate.

    Args: technicians: rows of zeroing_funnel.sql; rates as shares of visits.
    """
    data = rows_of(technicians)
    counts = [row["n_visits"] for row in technicians]
    x = alt.X(
        "n_visits:Q",
        title="visits of a technician (count)",
        axis=count_axis(max(counts, default=0) - min(counts, default=0), TICKS),
    )
    y = alt.Y(
        "skip_rate:Q",
        title="visits without a recorded zero (share)",
        axis=share_axis(),
        scale=alt.Scale(domainMin=0, domainMax=_top(technicians), clamp=True),
    )
    limit = (
        alt.Chart(data)
        .mark_line(color="var(--ink)", strokeDash=[6, 3], strokeWidth=1.3)
        .encode(x=x, y=alt.Y("funnel_hi:Q"))
    )
    fleet = (
        alt.Chart(data)
        .mark_line(color="var(--quiet)", strokeWidth=1.3)
        .encode(x=alt.X("n_visits:Q"), y=alt.Y("fleet_skip_rate:Q"))
    )
    found = f"indexof({list(NAMED)}, datum.zeroing_state) >= 0"
    whisker = (
        alt.Chart(data)
        .transform_filter("datum.zeroing_state == 'skips_zero'")
        .mark_rule(color="var(--supply)", strokeWidth=1.2)
        .encode(x=alt.X("n_visits:Q"), y=alt.Y("skip_lo:Q"), y2=alt.Y2("skip_hi:Q"))
    )
    # Those who stand out lie on top of the others, who may be many.
    looks: dict[str, dict[str, Any]] = {
        f"!({found})": {"size": 45, "strokeWidth": 1.2},
        found: {"size": 110, "strokeWidth": 2, "fill": "var(--paper)"},
    }
    marks = [
        alt.Chart(data)
        .transform_filter(which)
        .mark_point(opacity=1, **look)
        .encode(
            x=x,
            y=y,
            color=alt.Color(
                "zeroing_state:N",
                title=None,
                legend=alt.Legend(orient="top", columns=2, labelExpr=f"({STATES})[datum.value]"),
                scale=alt.Scale(
                    domain=list(STATES),
                    range=["var(--supply)", "var(--airflow_setting)", "var(--quiet)"],
                ),
            ),
            shape=alt.Shape(
                "zeroing_state:N",
                title=None,
                legend=alt.Legend(orient="top", columns=2, labelExpr=f"({STATES})[datum.value]"),
                scale=alt.Scale(domain=list(STATES), range=["triangle-up", "diamond", "circle"]),
            ),
            tooltip=[
                alt.Tooltip("technician_id:N", title="technician"),
                alt.Tooltip("n_visits:Q", title="visits"),
                alt.Tooltip("n_not_zeroed:Q", title="without a zero"),
                alt.Tooltip("skip_rate:Q", title="rate", format=".0%"),
                alt.Tooltip("skip_lo:Q", title="at least (95 %)", format=".0%"),
                alt.Tooltip("skip_hi:Q", title="at most (95 %)", format=".0%"),
            ],
        )
        for which, look in looks.items()
    ]
    places = name_places(technicians)
    # Names lie on the paper's colour, so that they can be read among many marks.
    halo: dict[str, Any] = {"stroke": "var(--paper)", "strokeWidth": 4, "strokeJoin": "round"}
    names = [
        alt.Chart(data)
        .transform_filter(f"indexof({json.dumps(named)}, datum.technician_id) >= 0")
        .mark_text(align=align, baseline=baseline, dx=dx, dy=dy, fontSize=11, limit=NAME_WIDTH, **look)
        .encode(x=alt.X("n_visits:Q"), y=alt.Y("skip_rate:Q"), text=alt.Text("technician_id:N"))
        for look in (halo, {})
        for place, (align, baseline, dx, dy) in NAME_PLACES.items()
        if (named := [who for who, where in places.items() if where == place])
    ]
    return alt.layer(
        limit, fleet, *marks[:1], whisker, *marks[1:], *names, width="container", height=FUNNEL_HEIGHT
    )


def name_places(technicians: Result, width: float = 360.0) -> dict[str, str]:
    """Of each technician who stands out the place of the name, one of NAME_PLACES: the first that lies on no other mark
    of theirs and on no other name, on a chart so wide [px]. Where none is free the name is left out: its mark tells it.
    """
    most = max((row["n_visits"] for row in technicians), default=1)
    least = min((row["n_visits"] for row in technicians), default=0)
    per_visit, per_share = width / max(most - least, 1), FUNNEL_HEIGHT / _top(technicians)
    found = [row for row in technicians if row["zeroing_state"] in NAMED]
    at = {
        row["technician_id"]: (row["n_visits"] * per_visit, -row["skip_rate"] * per_share)
        for row in sorted(found, key=lambda row: (-row["skip_rate"], row["technician_id"]))
    }
    taken = [(x - 5, y - 5, x + 5, y + 5) for x, y in at.values()]
    places = {}
    for who, (x, y) in at.items():
        long = min(6.5 * len(who), NAME_WIDTH)
        boxes = {
            "right": (x + 8, y - 6, x + 9 + long, y + 6),
            "left": (x - 9 - long, y - 6, x - 8, y + 6),
            "above": (x - long / 2, y - 20, x + long / 2, y - 7),
            "below": (x - long / 2, y + 7, x + long / 2, y + 20),
        }
        for place, box in boxes.items():
            if not any(_overlap(box, other) for other in taken):
                places[who] = place
                taken.append(box)
                break
    return places


def _overlap(one: tuple[float, ...], other: tuple[float, ...]) -> bool:
    """Whether two boxes (left, top, right, bottom) share any space."""
    return one[0] < other[2] and other[0] < one[2] and one[1] < other[3] and other[1] < one[3]


def _top(technicians: Result) -> float:
    """The upper end of the rate's axis: above every interval, at most 1."""
    highest = max((row["skip_hi"] or 0.0 for row in technicians), default=0.2)
    return min(1.0, max(0.2, highest * 1.05))


def offsets(result: Result) -> Any:
    """How far a technician's readings with one instrument lie from what others find, a line a port.

    Args: result: rows of offsets.sql; offsets in in. w.c.
    """
    base = (
        alt.Chart(rows_of(result))
        .transform_calculate(
            line="datum.technician_id + (datum.instrument_id ? ' with ' + datum.instrument_id : ', gauge not named')",
            size="-abs(datum.offset_inwc)",
            place="datum.port == 'return' ? -5 : 5",
        )
        .encode(
            y=alt.Y(
                "line:N",
                title=None,
                sort=alt.EncodingSortField("size", op="min"),
                axis=alt.Axis(ticks=False, domain=False, labelColor="var(--ink)", labelLimit=200),
            ),
            yOffset=alt.YOffset("port:N", sort=["return", "supply"]),
        )
    )
    colour = alt.Color(
        "port:N",
        title=None,
        legend=alt.Legend(orient="top", labelExpr="datum.value + ' port'"),
        scale=alt.Scale(domain=["return", "supply"], range=["var(--return)", "var(--supply)"]),
    )
    shape = alt.Shape(
        "port:N",
        title=None,
        legend=alt.Legend(orient="top", labelExpr="datum.value + ' port'"),
        scale=alt.Scale(domain=["return", "supply"], range=["triangle-left", "triangle-right"]),
    )
    x = alt.X(
        "offset_lo_inwc:Q",
        title=f"offset of the readings ({INWC}), 95 % interval",
        axis=alt.Axis(**SIGNED, tickCount=8),
        scale=alt.Scale(padding=16, nice=False),
    )
    whisker = base.mark_rule(strokeWidth=1.5).encode(x=x, x2=alt.X2("offset_hi_inwc:Q"), color=colour)
    marks = base.mark_point(filled=True, size=70, opacity=1).encode(
        x=alt.X("offset_inwc:Q"),
        color=colour,
        shape=shape,
        tooltip=[
            alt.Tooltip("line:N", title="readings of"),
            alt.Tooltip("port:N", title="port"),
            alt.Tooltip("offset_inwc:Q", title=f"offset, {INWC}", format="+.3f"),
            alt.Tooltip("n_visits:Q", title="visits"),
            alt.Tooltip("n_sites:Q", title="sites"),
            alt.Tooltip("q_value:Q", title="q", format=".3f"),
        ],
    )
    zero = alt.Chart(rows_of(result)).mark_rule(color="var(--ink)").encode(x=alt.datum(0))
    pairs = result.frame.select("technician_id", "instrument_id").n_unique() if len(result) else 0
    return alt.layer(zero, whisker, marks, width="container", height=row_height(pairs, 30))
