"""The first units of the whole list: level with its interval against the rating."""

from __future__ import annotations

from typing import Any

import altair as alt

from reports import palette
from reports.charts.parts import SITE, inwc_x, rows_of
from reports.queries import Result

SIDES = ("return", "supply", "airflow_setting", "none")
LINE_HEIGHT = 37  # px: the name above, the marks below it


def first_ranked(ranked: Result, how_many: int = 10) -> Any:
    """A line a unit, first rank on top: its name, and below it the rating as a tick, the leading mode's level as a mark
    with its interval as a whisker, the other mode's level as an open circle.

    Args: ranked: rows of ranked.sql. Pressures in in. w.c.
    """
    name = f"datum.rank + '.\u2002\u2068' + ({SITE}) + '\u2069, ' + datum.mode"
    base = (
        alt.Chart(rows_of(ranked))
        .transform_filter(f"datum.line_number <= {how_many}")
        .transform_calculate(
            line=f"{name} + (isValid(datum.other_rank) ? '; ' + datum.other_mode + ' too' : '')",
            target="datum.equipment_id + '.' + datum.mode",
            site=SITE,
        )
    )
    seen = {row["problem_side"] for row in ranked if row["line_number"] <= how_many}
    sides = tuple(side for side in SIDES if side in seen)
    colour = palette.side_colour("problem_side", sides)
    y = alt.Y("line_number:O", title=None, axis=None, bandPosition=0.68)
    tooltip = [
        alt.Tooltip("rank:Q", title="rank"),
        alt.Tooltip("site:N", title="site"),
        alt.Tooltip("level_inwc:Q", title="level, in. w.c.", format=".2f"),
        alt.Tooltip("level_lo_inwc:Q", title="at least (95 %)", format=".2f"),
        alt.Tooltip("level_hi_inwc:Q", title="at most (95 %)", format=".2f"),
        alt.Tooltip("rated_tesp_inwc:Q", title="rated", format=".2f"),
        alt.Tooltip("problem_side:N", title="problem"),
        alt.Tooltip("check_first:N", title="check first"),
    ]
    other_tooltip = [
        alt.Tooltip("site:N", title="site"),
        alt.Tooltip("other_mode:N", title="other mode"),
        alt.Tooltip("other_level_inwc:Q", title="level, in. w.c.", format=".2f"),
        alt.Tooltip("other_state:N", title="state"),
    ]
    over = base.mark_rule(strokeWidth=9, opacity=0.28, cursor="pointer").encode(
        x=inwc_x("rated_tesp_inwc", "total external static, like new"),
        x2=alt.X2("level_inwc:Q"),
        y=y,
        color=colour,
    )
    whisker = base.mark_rule(strokeWidth=1.5).encode(
        x=alt.X("level_lo_inwc:Q"), x2=alt.X2("level_hi_inwc:Q"), y=y, color=colour
    )
    rating = base.mark_point(shape="stroke", size=330, angle=90, strokeWidth=2, stroke="var(--ink)").encode(
        x=alt.X("rated_tesp_inwc:Q"), y=y
    )
    other = (
        base.transform_filter("isValid(datum.other_level_inwc) && datum.other_state != 'too_few_visits'")
        .mark_point(size=60, strokeWidth=1.5, stroke="var(--ink)", fill="var(--paper)", opacity=1)
        .encode(x=alt.X("other_level_inwc:Q"), y=y, tooltip=other_tooltip)
    )
    level = base.mark_point(filled=True, size=110, opacity=1, cursor="pointer").encode(
        x=alt.X("level_inwc:Q"),
        y=y,
        color=colour,
        shape=palette.side_shape("problem_side", sides),
        tooltip=tooltip,
    )
    told = base.mark_text(
        align="left", baseline="top", dy=3, fontSize=12, cursor="pointer", limit=alt.ExprRef("width")
    ).encode(
        x=alt.XValue(0),
        y=alt.Y("line_number:O", title=None, axis=None, bandPosition=0),
        text=alt.Text("line:N"),
    )
    lines = min(how_many, len(ranked))
    return alt.layer(
        over, whisker, rating, other, level, told, width="container", height=LINE_HEIGHT * max(lines, 1)
    )
