"""Data quality: what became of the visits, and where each check finds most."""

from __future__ import annotations

from typing import Any

import altair as alt

from reports import words
from reports.charts.parts import count_axis, row_height, rows_of, share_axis
from reports.queries import Result

FATE_FILLS = ("var(--hair)", "url(#h-repaired)", "url(#h-worn)", "var(--ink)")  # in the order of words.FATES


def fates(by_month: Result) -> Any:
    """What became of each month's visits, as counts.

    Args: by_month: rows of fates_by_month.sql.
    """
    order = list(words.FATES)
    most = max((row["n_in_month"] for row in by_month), default=0)
    return (
        alt.Chart(rows_of(by_month))
        .transform_calculate(place=f"indexof({order}, datum.fate)")
        .mark_bar(stroke="var(--ink)", strokeWidth=0.6)
        .encode(
            x=alt.X(
                "visit_month:O", title="month of the visit", axis=alt.Axis(labelAngle=-90, labelOverlap=True)
            ),
            y=alt.Y("n_visits:Q", title="visits (count)", axis=count_axis(most)),
            fill=alt.Fill(
                "fate:N",
                title=None,
                scale=alt.Scale(domain=order, range=list(FATE_FILLS)),
                legend=_fills(words.FATES),
            ),
            order=alt.Order("place:Q"),
            tooltip=[
                alt.Tooltip("visit_month:N", title="month"),
                alt.Tooltip("fate:N", title="became of"),
                alt.Tooltip("n_visits:Q", title="visits"),
                alt.Tooltip("share:Q", title="share", format=".0%"),
            ],
        )
        .properties(width="container", height=220)
    )


def grid(shares: Result, member: str) -> Any:
    """A field a check and member of a group: darker is a larger share of its visits, written in it if it fits.

    Args: shares: rows of checks_by_group.sql; member: what the columns are ("month", "branch" ...).
    """
    base = (
        alt.Chart(rows_of(shares))
        .transform_calculate(
            figure="round(datum.share * 100)",
            column="datum.member"
            if member.startswith("month")
            else "datum.member + ' (' + datum.n_visits + ')'",
        )
        .encode(
            x=alt.X(
                "column:O",
                title=member,
                axis=alt.Axis(
                    labelAngle=-90,
                    orient="top",
                    labelLimit=190,
                    labelOverlap=True,  # on a narrow screen every other one
                    domain=False,
                    ticks=False,
                ),
            ),
            y=alt.Y(
                "title:N",
                title=None,
                sort=alt.EncodingSortField("n_found_all", op="max", order="descending"),
                axis=alt.Axis(labelLimit=230, labelColor="var(--ink)", domain=False, ticks=False),
            ),
        )
    )
    tooltip = [
        alt.Tooltip("member:N", title=member),
        alt.Tooltip("title:N", title="check"),
        alt.Tooltip("n_found:Q", title="visits found"),
        alt.Tooltip("n_visits:Q", title="visits"),
        alt.Tooltip("share:Q", title="share", format=".1%"),
        alt.Tooltip("share_lo:Q", title="at least (95 %)", format=".1%"),
        alt.Tooltip("share_hi:Q", title="at most (95 %)", format=".1%"),
    ]
    fields = base.mark_rect(color="var(--return)", stroke="var(--paper)", strokeWidth=1).encode(
        opacity=alt.Opacity(
            "share:Q",
            title="share of visits",
            legend=None,
            scale=alt.Scale(domain=[0, 0.3], range=[0.04, 0.75], clamp=True),
        ),
        tooltip=tooltip,
    )
    figures = (
        base.transform_calculate(figure="round(datum.share * 100)")
        .mark_text(fontSize=10, opacity=alt.ExprRef("bandwidth('x') < 17 ? 0 : 1"))
        .encode(text=alt.Text("figure:Q"), tooltip=tooltip)
    )
    checks = shares.frame["title"].n_unique() if len(shares) else 0
    return alt.layer(fields, figures, width="container", height=row_height(checks, 22))


def aside(shares: Result, member: str) -> Any:
    """Share of visits set aside with its interval, a line a technician or instrument, beside the fleet's share.

    Args: shares: rows of aside_by_group.sql; member: what a line is ("technician", "instrument").
    """
    data = rows_of(shares)
    base = (
        alt.Chart(data)
        .transform_calculate(line="datum.member + ' (' + datum.n_visits + ')'")
        .encode(
            y=alt.Y(
                "line:N",
                title=f"{member} (visits)",
                sort=alt.SortField("share_lo", "descending"),
                axis=alt.Axis(labelLimit=150, labelColor="var(--ink)", domain=False, ticks=False),
            )
        )
    )
    x = alt.X(
        "share_lo:Q",
        title="visits set aside (share), 95 % interval",
        axis=share_axis(),
        scale=alt.Scale(zero=True),
    )
    fleet = (
        alt.Chart(data)
        .mark_rule(color="var(--ink)", strokeDash=[6, 3], strokeWidth=1.2)
        .encode(x=alt.X("mean(fleet_share):Q"))
    )
    whisker = base.mark_rule(color="var(--none)", strokeWidth=2).encode(x=x, x2=alt.X2("share_hi:Q"))
    marks = base.mark_point(filled=True, size=70, color="var(--ink)", opacity=1).encode(
        x=alt.X("share:Q"),
        tooltip=[
            alt.Tooltip("member:N", title=member),
            alt.Tooltip("n_visits:Q", title="visits"),
            alt.Tooltip("n_aside:Q", title="set aside"),
            alt.Tooltip("share:Q", title="share", format=".1%"),
            alt.Tooltip("share_lo:Q", title="at least (95 %)", format=".1%"),
            alt.Tooltip("share_hi:Q", title="at most (95 %)", format=".1%"),
        ],
    )
    return alt.layer(fleet, whisker, marks, width="container", height=row_height(len(shares), 20))


TAKEN = {  # column of check_shares.sql: how it reads, and the fill, as in fates()
    "n_set_aside": (words.CONSEQUENCES["set_aside"], "var(--ink)"),
    "n_repaired": (words.CONSEQUENCES["repaired"], "url(#h-repaired)"),
    "n_not_like_new": (words.CONSEQUENCES["not_like_new"], "url(#h-worn)"),
    "n_drop_set_aside": ("drop set aside", "var(--paper)"),
    "n_note": (words.CONSEQUENCES["note"], "var(--hair)"),
}
CHECK_HEIGHT = 30  # px: what the check is and what follows, and below it the bar


def checks(result: Result) -> Any:
    """Share of all visits that each check finds and what follows, those that take most seriously on top.

    Args: result: rows of check_shares.sql; a bar has a part for each consequence, which stands above it in words.
    """
    followed = " + ".join(
        f"(datum.{c} > 0 ? ', ' + datum.{c} + ' {word}' : '')" for c, (word, _) in TAKEN.items()
    )
    base = (
        alt.Chart(rows_of(result))
        .transform_filter("datum.n_visits > 0")
        .transform_calculate(
            told=f"datum.title + ': ' + format(datum.share * 100, '.1f') + ' %' + {followed}"
        )
    )
    bars = (
        base.transform_fold(list(TAKEN), as_=["taken", "n"])
        .transform_calculate(
            part="datum.share * datum.n / datum.n_visits", place=f"indexof({list(TAKEN)}, datum.taken)"
        )
        .mark_bar(height=9, yOffset=8, stroke="var(--ink)", strokeWidth=0.6)
        .encode(
            x=alt.X("part:Q", title="visits with the finding (share of all visits)", axis=share_axis()),
            y=alt.Y("chart_place:O", title=None, axis=None),
            fill=alt.Fill(
                "taken:N",
                title=None,
                scale=alt.Scale(domain=list(TAKEN), range=[fill for _, fill in TAKEN.values()]),
                legend=_fills({c: word for c, (word, _) in TAKEN.items()}),
            ),
            order=alt.Order("place:Q"),
            tooltip=[
                alt.Tooltip("title:N", title="check"),
                alt.Tooltip("n_visits:Q", title="visits"),
                alt.Tooltip("share:Q", title="share", format=".1%"),
                alt.Tooltip("consequence:N", title="consequence"),
            ],
        )
    )
    told = base.mark_text(
        align="left",
        baseline="top",
        dy=2,
        fontSize=alt.ExprRef("width < 420 ? 10.5 : 12"),
        limit=alt.ExprRef("width"),
    ).encode(
        x=alt.XValue(0),
        y=alt.Y("chart_place:O", title=None, axis=None, bandPosition=0),
        text=alt.Text("told:N"),
    )
    found = sum(1 for row in result if row["n_visits"])
    return alt.layer(bars, told, width="container", height=row_height(found, CHECK_HEIGHT))


def _fills(said: dict[str, str]) -> alt.Legend:
    """A legend of fills by their words; in two columns, so that it fits a narrow screen."""
    return alt.Legend(
        orient="top", columns=2, labelExpr=f"({said})[datum.value]", symbolType="square", symbolSize=160
    )
