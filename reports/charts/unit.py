"""One unit in one mode over time: its totals against the rating, its two sides, and the split of the excess."""

from __future__ import annotations

from typing import Any

import altair as alt

from reports import palette
from reports.charts.parts import BY_WIDTH, INWC, SIGNED, day_x, inwc_y, rows_of
from reports.queries import Result

READINGS = ("like new", "not like new", "set aside")


def _chosen(unit: str, mode: str) -> list[alt.Parameter]:
    return [alt.param(name="unit", value=unit), alt.param(name="mode", value=mode)]


def totals(visits: Result, facts: Result, work: Result, unit: str, mode: str, height: int = 230) -> Any:
    """Totals over time with the level's band, the rating as a line, and work as marked days.

    A visit dated after the reference day is in the table behind the chart, not in the chart.

    Args: visits, facts, work: rows of unit_visits.sql, unit_facts.sql, unit_work.sql; unit, mode: what is shown first
    (the params of these names choose another). Pressures in in. w.c.
    """
    same = "datum.equipment_id == unit && datum.mode == mode"
    fact = alt.Chart(rows_of(facts)).transform_filter(same)
    band = fact.mark_rect(color="var(--none)", opacity=0.18).encode(
        y=inwc_y("level_lo_inwc", "total external static", zero=False), y2=alt.Y2("level_hi_inwc:Q")
    )
    level = fact.mark_rule(color="var(--none)", strokeWidth=1.5).encode(y=alt.Y("level_inwc:Q"))
    rating = fact.mark_rule(color="var(--ink)", strokeDash=[6, 3], strokeWidth=1.5).encode(
        y=alt.Y("rated_tesp_inwc:Q")
    )
    # Below the days, where no reading can cover it.
    told = (
        fact.mark_text(align="left", baseline="top", fontSize=11, fontWeight="bold")
        .transform_calculate(told="'- - -  rated ' + format(datum.rated_tesp_inwc, '.2f')")
        .encode(x=alt.XValue(0), y=alt.YValue(height + 25), text=alt.Text("told:N"))
    )
    done = alt.Chart(rows_of(work)).transform_filter("datum.equipment_id == unit")
    when = done.mark_rule(color="var(--upkeep)", strokeDash=[2, 2], strokeWidth=1.5).encode(
        x=day_x("done_on", "day of the visit")
    )
    what = (
        done.mark_text(
            angle=270, align="left", baseline="bottom", dx=6, dy=-3, fontSize=11, color="var(--upkeep)"
        )
        .transform_calculate(told="replace(replace(datum.work_kind, '_', ' '), '_', ' ')")
        .encode(x=alt.X("done_on:T"), y=alt.YValue(height), text=alt.Text("told:N"))
    )
    seen = alt.Chart(rows_of(visits)).transform_filter(f"{same} && !datum.is_in_future")
    error = (
        seen.transform_calculate(
            lo="datum.tesp_inwc - 2 * datum.u_tesp_inwc", hi="datum.tesp_inwc + 2 * datum.u_tesp_inwc"
        )
        .mark_rule(color="var(--quiet)", strokeWidth=1)
        .encode(x=alt.X("visited_on:T"), y=alt.Y("lo:Q"), y2=alt.Y2("hi:Q"))
    )
    marks = seen.mark_point(size=80, strokeWidth=1.8, color="var(--ink)", opacity=1).encode(
        x=day_x("visited_on", "day of the visit"),
        y=alt.Y("tesp_inwc:Q"),
        shape=alt.Shape(
            "reading:N",
            title=None,
            legend=alt.Legend(orient="top"),
            scale=alt.Scale(domain=list(READINGS), range=["circle", "circle", "cross"]),
        ),
        fill=alt.Fill(
            "reading:N",
            title=None,
            legend=alt.Legend(orient="top"),
            scale=alt.Scale(domain=list(READINGS), range=["var(--ink)", "var(--paper)", "var(--paper)"]),
        ),
        stroke=alt.StrokeValue("var(--ink)"),
        tooltip=[
            alt.Tooltip("visit_id:N", title="visit"),
            alt.Tooltip("visited_on:N", title="day"),
            alt.Tooltip("tesp_inwc:Q", title=f"total, {INWC}", format=".2f"),
            alt.Tooltip("return_inwc:Q", title="return", format=".2f"),
            alt.Tooltip("supply_inwc:Q", title="supply", format=".2f"),
            alt.Tooltip("reading:N", title="reading"),
            alt.Tooltip("findings:N", title="found"),
            alt.Tooltip("repairs:N", title="repaired"),
            alt.Tooltip("note:N", title="note"),
        ],
    )
    flagged = (
        seen.transform_filter("isValid(datum.findings)")
        .mark_text(text="!", dy=-13, fontSize=13, fontWeight="bold", color="var(--supply)")
        .encode(x=alt.X("visited_on:T"), y=alt.Y("tesp_inwc:Q"))
    )
    layers = (band, level, rating, error, when, what, marks, flagged, told)
    return alt.layer(*layers, width="container", height=height).add_params(*_chosen(unit, mode))


def sides(visits: Result, facts: Result, unit: str, mode: str) -> Any:
    """Return (below zero) and supply (above) over time, in the colours of the two sides.

    Args: as in totals(). Pressures in in. w.c.
    """
    same = "datum.equipment_id == unit && datum.mode == mode"
    seen = (
        alt.Chart(rows_of(visits))
        .transform_filter(f"{same} && !datum.is_in_future")
        .transform_calculate(**{"return": "datum.return_inwc", "supply": "datum.supply_inwc"})
        .transform_fold(["return", "supply"], as_=["side", "static_inwc"])
        .transform_filter("isValid(datum.static_inwc)")
    )
    keys = ("return", "supply")
    stems = seen.mark_rule(strokeWidth=1, opacity=0.5).encode(
        x=day_x("visited_on", "day of the visit"),
        y=inwc_y("static_inwc", "static of a side"),
        y2=alt.datum(0),
        color=palette.side_colour("side", keys),
    )
    marks = seen.mark_point(size=60, filled=True, opacity=1).encode(
        x=alt.X("visited_on:T"),
        y=alt.Y("static_inwc:Q"),
        color=palette.side_colour("side", keys),
        shape=palette.side_shape("side", keys),
        tooltip=[
            alt.Tooltip("visited_on:N", title="day"),
            alt.Tooltip("side:N", title="side"),
            alt.Tooltip("static_inwc:Q", title=INWC, format=".2f"),
            alt.Tooltip("reading:N", title="reading"),
        ],
    )
    zero = (
        alt.Chart(rows_of(facts)).transform_filter(same).mark_rule(color="var(--ink)").encode(y=alt.datum(0))
    )
    return alt.layer(zero, stems, marks, width="container", height=190).add_params(*_chosen(unit, mode))


def causes(split: Result, unit: str, mode: str, height: int = 100) -> Any:
    """The split of the mean excess into its three causes; the bars add up to total minus rating.

    Args: split: rows of unit_causes.sql. Pressures in in. w.c.
    """
    keys = ("return", "supply", "airflow_setting")
    base = (
        alt.Chart(rows_of(split))
        .transform_filter("datum.equipment_id == unit && datum.mode == mode")
        .transform_calculate(
            **{
                "return": "datum.return_restriction_inwc",
                "supply": "datum.supply_restriction_inwc",
                "airflow_setting": "datum.airflow_setting_inwc",
            },
        )
        .transform_fold(list(keys), as_=["cause", "part_inwc"])
        .transform_calculate(
            told="datum.cause == 'airflow_setting' ? 'fan setting' : datum.cause + ' restriction'",
            figure="format(datum.part_inwc, '+.2f')",
            inside="datum.part_inwc < 0 ? 0 : datum.part_inwc",
        )
        .encode(
            y=alt.Y(
                "told:N",
                title=None,
                sort=["return restriction", "supply restriction", "fan setting"],
                axis=alt.Axis(ticks=False, domain=False, labelColor="var(--ink)", labelLimit=160),
            )
        )
    )
    bars = base.mark_bar(height=18).encode(
        x=alt.X(
            "part_inwc:Q",
            title=f"part of the excess ({INWC})",
            axis=alt.Axis(**SIGNED, tickCount=BY_WIDTH),
            scale=alt.Scale(padding=38, nice=False),
        ),
        color=palette.side_colour("cause", keys, legend=False),
    )
    figures = base.mark_text(align="left", dx=5).encode(x=alt.X("inside:Q"), text=alt.Text("figure:N"))
    zero = alt.Chart(rows_of(split)).mark_rule(color="var(--ink)").encode(x=alt.datum(0))
    return alt.layer(bars, zero, figures, width="container", height=height).add_params(*_chosen(unit, mode))
