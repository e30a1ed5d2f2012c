"""What an open tube adds to the uncertainty: through the airflow where it is known, a flat half-width elsewhere."""

from __future__ import annotations

from math import sqrt
from pathlib import Path

import pytest

from pipeline.settings import Settings
from tests.conftest import Query, query_of

SOURCE = "kind of probe, both ports"


@pytest.fixture(scope="module")
def small(small_file: Path) -> Query:
    return query_of(small_file)


def test_a_static_tip_adds_nothing_and_an_open_tube_by_its_velocity_pressure(small: Query) -> None:
    settings = Settings()
    rows = small(
        "SELECT v.probe_kind, s.airflow_cfm, s.design_cfm, u.u_inwc, density_ratio(e.elevation_ft) AS d "
        "FROM visit AS v JOIN visit_static AS s USING (visit_id) JOIN visit_uncertainty AS u USING (visit_id) "
        f"JOIN site AS e ON v.site_id = e.site_id WHERE u.source = '{SOURCE}'"
    )
    tubes = {True: 0, False: 0}
    for row in rows.iter_rows(named=True):
        if row["probe_kind"] != "straight_tube":
            assert row["u_inwc"] == 0
            continue
        known = row["airflow_cfm"] is not None and row["design_cfm"] is not None
        tubes[known] += 1
        half_width = settings["straight_tube_half_width_inwc"]
        if known:
            speed = settings["plenum_velocity_fpm"] * row["airflow_cfm"] / row["design_cfm"]
            half_width = settings["straight_tube_velocity_share"] * row["d"] * (speed / 4005) ** 2
        # Each port has its own, rectangular; the two are independent.
        assert row["u_inwc"] == pytest.approx(sqrt(2) * half_width / sqrt(3), rel=1e-9)
    assert tubes[True] > 20
    assert tubes[False] > 0


def test_at_the_design_airflow_both_ways_say_about_the_same() -> None:
    settings = Settings()
    velocity_pressure = (settings["plenum_velocity_fpm"] / 4005) ** 2
    assert settings["straight_tube_velocity_share"] * velocity_pressure == pytest.approx(
        settings["straight_tube_half_width_inwc"], rel=0.05
    )


def test_the_budget_sums_to_the_uncertainty(small: Query) -> None:
    gap = small(
        "SELECT max(abs(t.total - s.u_tesp_inwc)) AS gap FROM visit_static AS s JOIN "
        "(SELECT visit_id, sqrt(sum(u_inwc ^ 2)) AS total FROM visit_uncertainty GROUP BY visit_id) AS t "
        "USING (visit_id)"
    )["gap"].item()
    assert gap < 1e-12
