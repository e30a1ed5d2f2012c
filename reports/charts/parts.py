"""What several charts share: the data's name, axes in the trade's units, interval marks.

A channel is written as one (`y=alt.Y("tesp_inwc:Q")`): for a bare text the library goes through all its classes.
"""

from __future__ import annotations

import altair as alt

from reports.queries import Result

INWC = "in. w.c."
SITE = "datum.site_label || datum.site_id"  # what a site goes by, as in parts.html.j2
HUNDREDTHS = {"format": ".2f", "tickCount": 6, "tickMinStep": 0.01}  # no two ticks share a label
TICKS = "clamp(ceil(width / 70), 2, 7)"
BY_WIDTH = alt.ExprRef(expr=TICKS)  # ticks along x: fewer where they have less room


def rows_of(result: Result) -> alt.NamedData:
    """The data of a chart: a name only; the page holds the rows once under the same name."""
    return alt.NamedData(name=result.key)


def inwc_x(field: str, title: str, **scale: object) -> alt.X:
    """A static pressure along x, in in. w.c., two decimals."""
    return alt.X(
        f"{field}:Q",
        title=f"{title} ({INWC})",
        axis=alt.Axis(**HUNDREDTHS | {"tickCount": BY_WIDTH}),
        scale=alt.Scale(zero=False, nice=True, **scale),
    )


def inwc_y(field: str, title: str, **scale: object) -> alt.Y:
    """A static pressure along y, in in. w.c., two decimals."""
    return alt.Y(
        f"{field}:Q",
        title=f"{title} ({INWC})",
        axis=alt.Axis(**HUNDREDTHS, minExtent=40),
        scale=alt.Scale(nice=True, **scale),
    )


def day_x(field: str, title: str) -> alt.X:
    """Days along x: a UTC scale, so that no reader's time zone shifts a date."""
    return alt.X(
        f"{field}:T",
        title=title,
        scale=alt.Scale(type="utc", padding=14),
        axis=alt.Axis(tickCount=6, labelOverlap=True, labelExpr=DAY),
    )


def count_axis(most: float, ticks: str = "6") -> alt.Axis:
    """An axis of counts that spans `most`: of few no more ticks than whole numbers, or two would share a label."""
    return alt.Axis(format="d", tickMinStep=1, tickCount=alt.ExprRef(f"min({ticks}, {max(round(most), 1)})"))


def share_axis(**more: object) -> alt.Axis:
    """An axis of shares, written in percent."""
    return alt.Axis(labelExpr=PERCENT, tickCount=5, **more)


def row_height(rows: int, each: int = 26, least: int = 2) -> int:
    """Height of a chart with one line a row [px]."""
    return each * max(rows, least)


# As much of the date as the tick stands for; each with its year, for labels beside it may be left out.
DAY = (
    "utchours(datum.value) > 0 ? '' : utcdate(datum.value) > 1 ? utcFormat(datum.value, '%Y-%m-%d')"
    " : utcmonth(datum.value) > 0 ? utcFormat(datum.value, '%Y-%m') : utcFormat(datum.value, '%Y')"
)
PERCENT = "format(datum.value * 100, '.0f') + ' %'"
SIGNED = {
    "labelExpr": "datum.value == 0 ? '0' : format(datum.value, '+.2f')",
    "tickMinStep": 0.01,
}
