"""What changes: units that get worse, and what work changed."""

from __future__ import annotations

from typing import Any

import altair as alt

from reports.charts.parts import BY_WIDTH, HUNDREDTHS, INWC, SIGNED, SITE, row_height, rows_of
from reports.queries import Result

LINE = {"ticks": False, "domain": False, "labelColor": "var(--ink)", "labelLimit": 220}


def rising(result: Result) -> Any:
    """Slope of each rising unit with its interval, in the order of the list.

    Args: result: rows of getting_worse.sql; slopes in in. w.c. a year.
    """
    base = (
        alt.Chart(rows_of(result))
        .transform_calculate(site=SITE)
        .encode(
            y=alt.Y(
                "equipment_id:N",
                title=None,
                sort=alt.SortField("line_number"),
                axis=alt.Axis(**LINE),
            )
        )
    )
    x = alt.X(
        "slope_lo:Q",
        title=f"rise of the total ({INWC} a year), 95 % interval",
        axis=alt.Axis(**HUNDREDTHS | {"tickCount": BY_WIDTH}),
    )
    whisker = base.mark_rule(color="var(--none)", strokeWidth=2).encode(x=x, x2=alt.X2("slope_hi:Q"))
    mark = base.mark_point(filled=True, size=90, shape="triangle-up", color="var(--ink)", opacity=1).encode(
        x=alt.X("slope_inwc_per_year:Q"),
        tooltip=[
            alt.Tooltip("site:N", title="site"),
            alt.Tooltip("equipment_id:N", title="unit"),
            alt.Tooltip("slope_inwc_per_year:Q", title=f"{INWC} a year", format=".3f"),
            alt.Tooltip("n_visits:Q", title="visits"),
        ],
    )
    zero = alt.Chart(rows_of(result)).mark_rule(color="var(--ink)").encode(x=alt.datum(0))
    return alt.layer(zero, whisker, mark, width="container", height=row_height(len(result), 22))


def work(result: Result) -> Any:
    """Shift of the level by kind of work, with its interval; to the left is lower static.

    Args: result: rows of work_effect.sql; shifts in in. w.c.
    """
    base = (
        alt.Chart(rows_of(result))
        .transform_filter("isValid(datum.shift_inwc)")
        .transform_calculate(
            line="replace(replace(datum.work_kind, '_', ' '), '_', ' ') + ' (' + datum.n_pairs + ')'"
        )
        .encode(y=alt.Y("line:N", title=None, sort=alt.SortField("shift_inwc"), axis=alt.Axis(**LINE)))
    )
    x = alt.X(
        "shift_lo:Q",
        title=f"change of the level after the work ({INWC}), 95 % interval",
        axis=alt.Axis(**SIGNED, tickCount=BY_WIDTH),
    )
    whisker = base.mark_rule(color="var(--none)", strokeWidth=2).encode(x=x, x2=alt.X2("shift_hi:Q"))
    mark = base.mark_point(filled=True, size=90, shape="square", color="var(--upkeep)", opacity=1).encode(
        x=alt.X("shift_inwc:Q"),
        tooltip=[
            alt.Tooltip("work_kind:N", title="work"),
            alt.Tooltip("n_pairs:Q", title="pairs"),
            alt.Tooltip("shift_inwc:Q", title=INWC, format="+.2f"),
            alt.Tooltip("share_within_rating_before:Q", title="within rating before", format=".0%"),
            alt.Tooltip("share_within_rating_after:Q", title="within rating after", format=".0%"),
        ],
    )
    zero = alt.Chart(rows_of(result)).mark_rule(color="var(--ink)").encode(x=alt.datum(0))
    return alt.layer(zero, whisker, mark, width="container", height=row_height(len(result)))
