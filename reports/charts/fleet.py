"""The fleet in one picture, and by branch."""

from __future__ import annotations

import math
from typing import Any

import altair as alt

from reports import palette
from reports.charts.parts import BY_WIDTH, INWC, SITE, TICKS, count_axis, row_height, rows_of
from reports.queries import Result

SHOWN = ("return", "supply", "airflow_setting", "upkeep", "none")


def fleet_picture(units: Result, ratings: Result) -> Any:
    """Return against supply static, a mark a unit and mode; where both add up to a rating runs a line.

    Args: units: rows of fleet_picture.sql; ratings: rows of fleet_ratings.sql. Pressures in in. w.c.
    The params branch, kind and mode (all: "") keep only the units that match.
    """
    sides = (abs(row[side]) for row in units for side in ("return_level_inwc", "supply_level_inwc"))
    rated = max((row["rated_tesp_inwc"] or 0.0 for row in ratings), default=0.5)
    reach = axis_end(max(sides, default=0.0), rated * 0.6 + 0.25)
    chosen = (
        "(branch == '' || datum.branch == branch) && (kind == '' || datum.equipment_kind == kind)"
        " && (mode == '' || datum.mode == mode)"
    )
    x = alt.X(
        "return_level_inwc:Q",
        title=f"return static ({INWC}): more suction to the right",
        axis=alt.Axis(format=".2f", tickCount=BY_WIDTH),
        scale=alt.Scale(domain=[0, -reach], zero=False, nice=False),
    )
    y = alt.Y(
        "supply_level_inwc:Q",
        title=f"supply static ({INWC})",
        axis=alt.Axis(format=".2f", tickCount=8),
        scale=alt.Scale(domain=[0, reach], zero=False, nice=False),
    )
    marks = (
        alt.Chart(rows_of(units))
        .transform_filter(chosen)
        .transform_calculate(
            target="datum.equipment_id + '.' + datum.mode",
            order="datum.shown_as == 'none' ? 0 : 1",
            site=SITE,
        )
        .mark_point(size=60, strokeWidth=1.6, cursor="pointer")
        .encode(
            x=x,
            y=y,
            order=alt.Order("order:Q"),
            color=palette.side_colour("shown_as", SHOWN, title=None),
            fill=palette.side_colour("shown_as", SHOWN, title=None),
            fillOpacity=alt.condition("datum.static_state == 'chronic'", alt.value(1), alt.value(0)),
            shape=palette.side_shape("shown_as", SHOWN, title=None),
            opacity=alt.condition("datum.shown_as == 'none'", alt.value(0.55), alt.value(1)),
            tooltip=[
                alt.Tooltip("site:N", title="site"),
                alt.Tooltip("equipment_id:N", title="unit"),
                alt.Tooltip("mode:N", title="mode"),
                alt.Tooltip("return_level_inwc:Q", title="return, in. w.c.", format=".2f"),
                alt.Tooltip("supply_level_inwc:Q", title="supply, in. w.c.", format=".2f"),
                alt.Tooltip("level_inwc:Q", title="total, in. w.c.", format=".2f"),
                alt.Tooltip("rated_tesp_inwc:Q", title="rated", format=".2f"),
                alt.Tooltip("static_state:N", title="state"),
            ],
        )
    )
    ends = alt.Chart(rows_of(ratings)).transform_calculate(
        x0=f"-max(0, datum.rated_tesp_inwc - {reach})",
        y0=f"min(datum.rated_tesp_inwc, {reach})",
        x1=f"-min(datum.rated_tesp_inwc, {reach})",
        y1=f"max(0, datum.rated_tesp_inwc - {reach})",
        told="'rated ' + format(datum.rated_tesp_inwc, '.2f')",
    )
    line = ends.mark_rule(color="var(--ink)", strokeDash=[6, 3], strokeWidth=1.2).encode(
        x=alt.X("x0:Q"), y=alt.Y("y0:Q"), x2=alt.X2("x1:Q"), y2=alt.Y2("y1:Q")
    )
    told = ends.mark_text(
        align="left", baseline="bottom", dx=4, dy=-2, fontSize=11, fontWeight="bold"
    ).encode(x=alt.X("x0:Q"), y=alt.Y("y0:Q"), text=alt.Text("told:N"))
    params = [alt.param(name=name, value="") for name in ("branch", "kind", "mode")]
    return alt.layer(line, marks, told, width="container", height=470).add_params(*params)


def axis_end(largest: float, least: float) -> float:
    """Where both axes end, in in. w.c.: the largest side, rounded up to a tenth, so that no mark lies beyond them."""
    return max(math.ceil(largest * 10 - 1e-9) / 10, round(least, 1))


def branches(result: Result) -> Any:
    """Chronic units by branch and kind, where there are any, the sides side by side in one bar.

    Args: result: rows of branches.sql; counts of units.
    """
    named = ("return", "supply", "airflow_setting")
    unnamed = any(row["n_chronic"] > sum(row[f"n_{side}"] for side in named) for row in result)
    sides = (*named, "none") if unnamed else named
    most = max((row["n_chronic"] for row in result), default=0)
    return (
        alt.Chart(rows_of(result))
        .transform_filter("datum.n_chronic > 0")
        .transform_calculate(
            **{
                "return": "datum.n_return",
                "supply": "datum.n_supply",
                "airflow_setting": "datum.n_airflow_setting",
                "none": "datum.n_chronic - datum.n_return - datum.n_supply - datum.n_airflow_setting",
            },
            line="replace(datum.equipment_kind, '_', ' ') + ', ' + datum.branch",  # a long name is cut at its end
        )
        .transform_fold(list(sides), as_=["side", "units"])
        .transform_calculate(place="indexof(['return', 'supply', 'airflow_setting', 'none'], datum.side)")
        .mark_bar(stroke="var(--paper)", strokeWidth=1, height=16)
        .encode(
            y=alt.Y(
                "line:N",
                title=None,
                sort=alt.SortField("n_chronic", "descending"),
                axis=alt.Axis(ticks=False, domain=False, labelColor="var(--ink)", labelLimit=170),
            ),
            x=alt.X("units:Q", title="chronic units (count)", axis=count_axis(most, TICKS)),
            color=palette.side_colour("side", sides),
            order=alt.Order("place:Q"),
            tooltip=[
                alt.Tooltip("branch:N", title="branch"),
                alt.Tooltip("equipment_kind:N", title="kind"),
                alt.Tooltip("side:N", title="problem"),
                alt.Tooltip("units:Q", title="chronic units"),
                alt.Tooltip("n_judged:Q", title="units judged"),
                alt.Tooltip("share_chronic:Q", title="chronic of judged", format=".0%"),
            ],
        )
        .properties(width="container", height=row_height(sum(row["n_chronic"] > 0 for row in result), 24))
    )
