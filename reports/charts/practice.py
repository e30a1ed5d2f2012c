"""Technicians: how often the zero is skipped, and whose readings lie off."""

from __future__ import annotations

from typing import Any

import altair as alt

from reports.charts.parts import INWC, SIGNED, row_height, rows_of, share_axis
from reports.queries import Result

STATES = ("skips_zero", "zero_doubtful", "zeroes", "too_few_visits")
WORDS = (
    "{'skips_zero': 'skips the zero', 'zero_doubtful': 'zero doubtful', "
    "'zeroes': 'zeroes', 'too_few_visits': 'too few visits'}"
)


def funnel(technicians: Result) -> Any:
    """Rate of visits without a zero against the number of visits, with the funnel's upper limit and the fleet's rate.

    Args: technicians: rows of zeroing_funnel.sql; rates as shares of visits.
    """
    data = rows_of(technicians)
    x = alt.X("n_visits:Q", title="visits of a technician (count)", axis=alt.Axis(format="d", tickMinStep=1))
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
    whisker = (
        alt.Chart(data)
        .transform_filter("datum.zeroing_state == 'skips_zero'")
        .mark_rule(color="var(--supply)", strokeWidth=1.2)
        .encode(x=alt.X("n_visits:Q"), y=alt.Y("skip_lo:Q"), y2=alt.Y2("skip_hi:Q"))
    )
    marks = (
        alt.Chart(data)
        .mark_point(size=80, strokeWidth=1.8, opacity=1)
        .encode(
            x=x,
            y=y,
            color=alt.Color(
                "zeroing_state:N",
                title=None,
                legend=alt.Legend(orient="top", columns=2, labelExpr=f"({WORDS})[datum.value]"),
                scale=alt.Scale(
                    domain=list(STATES),
                    range=["var(--supply)", "var(--airflow_setting)", "var(--ink)", "var(--none)"],
                ),
            ),
            shape=alt.Shape(
                "zeroing_state:N",
                title=None,
                legend=alt.Legend(orient="top", columns=2, labelExpr=f"({WORDS})[datum.value]"),
                scale=alt.Scale(domain=list(STATES), range=["triangle-up", "diamond", "circle", "cross"]),
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
    )
    names = (
        alt.Chart(data)
        .transform_filter("datum.zeroing_state == 'skips_zero' && isValid(datum.technician_id)")
        .mark_text(align="left", dx=9, fontSize=11)
        .encode(x=alt.X("n_visits:Q"), y=alt.Y("skip_rate:Q"), text=alt.Text("technician_id:N"))
    )
    return alt.layer(limit, fleet, whisker, marks, names, width="container", height=320)


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
            line="datum.technician_id + ' with ' + datum.instrument_id",
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
