"""The first units of the whole list: level with its interval against the rating."""

from __future__ import annotations

from typing import Any

import altair as alt

from reports import palette
from reports.charts.parts import inwc_x, row_height, rows_of
from reports.queries import Result

SIDES = ("return", "supply", "airflow_setting", "none")


def first_ranked(ranked: Result, how_many: int = 10) -> Any:
    """A line a unit and mode, first rank on top: rating as a tick, level as a mark, interval as a whisker.

    Args: ranked: rows of ranked.sql. Pressures in in. w.c.
    """
    base = (
        alt.Chart(rows_of(ranked))
        .transform_filter(f"datum.rank <= {how_many}")
        .transform_calculate(
            line="datum.rank + '.\u2002\u2068' + (datum.site_label || datum.site_id) + '\u2069, ' + datum.mode",
            target="datum.equipment_id + '.' + datum.mode",
        )
        .encode(
            y=alt.Y(
                "line:N",
                title=None,
                sort=alt.SortField("rank"),
                axis=alt.Axis(ticks=False, domain=False, labelColor="var(--ink)", labelLimit=190),
            )
        )
    )
    seen = {row["problem_side"] for row in ranked if row["rank"] <= how_many}
    sides = tuple(side for side in SIDES if side in seen)
    colour = palette.side_colour("problem_side", sides)
    tooltip = [
        alt.Tooltip("rank:Q", title="rank"),
        alt.Tooltip("site_label:N", title="site"),
        alt.Tooltip("level_inwc:Q", title="level, in. w.c.", format=".2f"),
        alt.Tooltip("level_lo_inwc:Q", title="at least (95 %)", format=".2f"),
        alt.Tooltip("level_hi_inwc:Q", title="at most (95 %)", format=".2f"),
        alt.Tooltip("rated_tesp_inwc:Q", title="rated", format=".2f"),
        alt.Tooltip("problem_side:N", title="problem"),
        alt.Tooltip("check_first:N", title="check first"),
    ]
    over = base.mark_bar(height=9, opacity=0.28, cursor="pointer").encode(
        x=inwc_x("rated_tesp_inwc", "total external static, like new"), x2="level_inwc:Q", color=colour
    )
    whisker = base.mark_rule(strokeWidth=1.5).encode(
        x=alt.X("level_lo_inwc:Q"), x2="level_hi_inwc:Q", color=colour
    )
    rating = base.mark_tick(thickness=2, size=20, color="var(--ink)").encode(x=alt.X("rated_tesp_inwc:Q"))
    level = base.mark_point(filled=True, size=110, opacity=1, cursor="pointer").encode(
        x=alt.X("level_inwc:Q"),
        color=colour,
        shape=palette.side_shape("problem_side", sides),
        tooltip=tooltip,
    )
    lines = min(how_many, len(ranked))
    return alt.layer(over, whisker, rating, level).properties(width="container", height=row_height(lines))
