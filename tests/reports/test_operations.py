"""What the operations page says agrees with itself: headline and lists, heads of the lists, the fleet picture."""

from __future__ import annotations

from pathlib import Path

import duckdb
import pytest

from reports import draw_site_sheet
from reports.charts.fleet import axis_end, fleet_picture
from reports.queries import Published
from tests.reports.published import write_published
from tests.reports.reading import read_page


def test_air_lost_is_the_sum_of_the_rows_that_show_it(tmp_path: Path) -> None:
    file = write_published(tmp_path / "fleet.duckdb", sites=84)
    with duckdb.connect(str(file)) as con:  # the mode that ranks second loses more
        con.execute("UPDATE site_priority SET airflow_shortfall_cfm = 10 * rank, static_state = 'chronic'")
    published = Published.open(file)
    headline = published.rows("headline").one
    lines = published.rows("ranked", top=1000, top_in_branch=0)
    published.close()
    assert any(row["other_rank"] for row in lines)
    assert headline["airflow_shortfall_cfm"] == sum(row["airflow_shortfall_cfm"] for row in lines)
    assert headline["n_chronic_units"] == len(lines)


def test_the_head_of_a_list_counts_what_is_to_be_measured_again(tmp_path: Path) -> None:
    file = write_published(tmp_path / "fleet.duckdb", sites=84)
    with duckdb.connect(str(file)) as con:
        con.execute("UPDATE site_priority SET static_state = if(rank % 3 = 0, 'uncertain', 'chronic')")
    published = Published.open(file)
    lines = list(published.rows("ranked", top=1000, top_in_branch=0))
    cut = list(published.rows("ranked", top=2, top_in_branch=0))
    published.close()
    for side in ("return", "supply"):
        of_side = [row for row in lines if row["problem_side"] == side]
        n_chronic = sum(row["static_state"] == "chronic" for row in of_side)
        assert 0 < n_chronic < len(of_side)
        for row in (*of_side, *(row for row in cut if row["problem_side"] == side)):
            assert row["n_chronic_in_side"] == n_chronic
            assert row["n_uncertain_in_side"] == len(of_side) - n_chronic


@pytest.mark.parametrize(
    ("state", "words"),
    [("uncertain", "If it is over, then by the return side"), ("chronic", "Return side too tight")],
)
def test_a_unit_that_may_be_within_its_rating_is_not_titled_too_tight(
    state: str, words: str, tmp_path: Path
) -> None:
    file = write_published(tmp_path / "fleet.duckdb", sites=7)
    with duckdb.connect(str(file)) as con:
        con.execute(f"UPDATE site_static SET static_state = '{state}' WHERE equipment_id = 'E0000'")
    text = read_page(draw_site_sheet(file, tmp_path / "reports", "S0000")).text
    assert words in text
    assert ("Return side too tight" in text) == (state == "chronic")


def test_the_fleet_picture_leaves_out_no_chronic_unit_and_reaches_all(tmp_path: Path) -> None:
    file = write_published(tmp_path / "fleet.duckdb", sites=84)
    with duckdb.connect(str(file)) as con:
        con.execute("UPDATE site_static SET return_level_inwc = -2.31 WHERE equipment_id = 'E0000'")
    published = Published.open(file)
    all_of_them = published.rows("fleet_picture", points=1000)
    n_chronic = len(all_of_them.where("static_state", "chronic"))
    some = published.rows("fleet_picture", points=n_chronic + 5)
    picture = fleet_picture(some, published.rows("fleet_ratings")).to_dict()
    published.close()
    assert len(some) == n_chronic + 5 < len(all_of_them)
    assert len(some.where("static_state", "chronic")) == n_chronic > 5
    (scale,) = [
        layer["encoding"]["x"]["scale"] for layer in picture["layer"] if "scale" in layer["encoding"]["x"]
    ]
    assert scale["domain"] == [0, -2.4]
    assert "clamp" not in scale


@pytest.mark.parametrize(
    ("largest", "least", "end"), [(0.63, 0.5, 0.7), (0.7, 0.5, 0.7), (0.2, 0.58, 0.6), (0.0, 0.5, 0.5)]
)
def test_axes_end_at_a_tenth_past_the_largest_side(largest: float, least: float, end: float) -> None:
    assert axis_end(largest, least) == pytest.approx(end)


def test_a_steady_trend_says_where_a_change_cannot_be_ruled_out(tmp_path: Path) -> None:
    file = write_published(tmp_path / "fleet.duckdb", sites=7)
    with duckdb.connect(str(file)) as con:
        con.execute(
            "UPDATE site_trend SET trend = 'steady', slope_inwc_per_year = 0.001, slope_lo = -0.014, slope_hi = 0.555"
        )
        con.execute(
            "UPDATE equipment_trend SET trend = 'steady', slope_inwc_per_year = 0.001, slope_lo = -0.014, "
            "slope_hi = 0.02"
        )
    text = " ".join(read_page(draw_site_sheet(file, tmp_path / "reports", "S0000")).text.split())
    assert "(-0.014 to +0.555); too few days to rule out a change of 0.03 in. w.c. a year" in text
    assert "(-0.014 to +0.020); too few" not in text
