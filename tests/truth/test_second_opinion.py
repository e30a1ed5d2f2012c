"""The stages' SQL against the plain reference: not one visit, airflow, state or trend on which they disagree."""

from __future__ import annotations

from pathlib import Path

import pytest
from scipy import stats

from tests.conftest import FIELD_TODAY, run_stages
from tests.truth import second_opinion
from tests.truth.awkward_drop import TODAY, make_awkward_drop
from tests.truth.second_opinion import WorkFile

VISITS_ONLY = ("gate", "technician", "site", "work", "contracts", "publish", "report")


@pytest.fixture(scope="module", params=["field_file", "small_file"])
def whole(request: pytest.FixtureRequest) -> WorkFile:
    """A drop with verdicts: the one that nobody on the team wrote, and a synthetic one."""
    published: Path = request.getfixturevalue(request.param)
    return WorkFile(published.with_name("work.duckdb"), FIELD_TODAY)


@pytest.fixture(scope="module", params=[1, 2])
def awkward(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> WorkFile:
    """Visits that sit on every edge of the checks."""
    drop = make_awkward_drop(tmp_path_factory.mktemp("awkward") / "drop", 1200, request.param)
    run_stages([drop], drop.parent / "out", TODAY, without=VISITS_ONLY)
    return WorkFile(drop.parent / "out" / "work.duckdb", TODAY)


def test_every_check_of_the_contract_is_met_with_on_the_awkward_drop(awkward: WorkFile) -> None:
    met = {check for mine in awkward.checked.values() for check in mine.findings}
    assert met == second_opinion.CONTRACT_CHECKS
    for check in (
        "unit_mismatch",
        "return_sign_wrong",
        "supply_sign_wrong",
        "ports_swapped",
        "return_port_wrong",
    ):
        consequences = {mine.findings[check] for mine in awkward.checked.values() if check in mine.findings}
        assert consequences == {"repaired", "set_aside"}, check


def test_awkward_visits_are_checked_alike(awkward: WorkFile) -> None:
    assert list(second_opinion.check_differences(awkward)) == []


def test_awkward_visits_have_the_same_airflow_and_causes(awkward: WorkFile) -> None:
    assert list(second_opinion.airflow_differences(awkward)) == []


def test_visits_are_checked_alike(whole: WorkFile) -> None:
    assert list(second_opinion.check_differences(whole)) == []


def test_visits_have_the_same_airflow_and_causes(whole: WorkFile) -> None:
    assert sum(row["airflow_source"] == "blower_table" for row in whole.static.values()) > 100
    assert list(second_opinion.airflow_differences(whole)) == []


def test_states_follow_from_the_same_visits(whole: WorkFile) -> None:
    sure = [row for row in whole.site_static if not whole.doubtful(row["equipment_id"], row["mode"])]
    assert {row["static_state"] for row in sure} >= {
        "chronic",
        "uncertain",
        "within_rating",
        "too_few_visits",
    }
    assert list(second_opinion.state_differences(whole)) == []


def test_trends_are_those_of_scipy_and_pymannkendall(whole: WorkFile) -> None:
    judged = [row for row in whole.site_trend if row["trend"] != "too_few_visits"]
    assert sum(not whole.doubtful(row["equipment_id"], row["mode"]) for row in judged) > 10
    assert list(second_opinion.trend_differences(whole)) == []


def test_trends_of_equipment_sum_kendalls_s_over_its_modes(whole: WorkFile) -> None:
    judged = [row["equipment_id"] for row in whole.equipment_trend if row["kendall_s"] is not None]
    assert sum(not any(whole.doubtful(unit, mode) for mode in ("cooling", "heating")) for unit in judged) > 10
    assert list(second_opinion.equipment_trend_differences(whole)) == []


@pytest.mark.parametrize("table", ["site_trend", "equipment_trend"])
def test_q_values_are_benjamini_hochbergs_over_the_fleet(whole: WorkFile, table: str) -> None:
    tested = [row for row in getattr(whole, table) if row["p_value"] is not None]
    assert len(tested) > 10
    expected = stats.false_discovery_control([row["p_value"] for row in tested])
    assert [row["q_value"] for row in tested] == pytest.approx(list(expected), abs=1e-12)
