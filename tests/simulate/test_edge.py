"""Drops of unusual shape end in a clear message or a truthful small publication."""

from __future__ import annotations

from pathlib import Path

import pytest

from pipeline.errors import UsageError
from seed_data import DEMO_DROP, DEMO_TODAY
from tests.conftest import query_of, run_stages

EDGE = DEMO_DROP.parent / "edge"


def test_a_folder_without_input_is_refused(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="no input file"):
        run_stages([EDGE / "empty"], tmp_path, DEMO_TODAY)


def test_a_drop_without_visits_publishes_its_tables_and_judges_nothing(tmp_path: Path) -> None:
    ask = query_of(run_stages([EDGE / "no_visits"], tmp_path, DEMO_TODAY))
    assert ask("SELECT count(*) AS n FROM equipment")["n"].item() == 2
    for table in (
        "visit_static",
        "finding",
        "site_static",
        "site_trend",
        "site_priority",
        "technician_zeroing",
    ):
        assert ask(f"SELECT count(*) AS n FROM {table}")["n"].item() == 0, table


def test_one_visit_is_measured_and_too_few_to_judge(tmp_path: Path) -> None:
    ask = query_of(run_stages([EDGE / "one_visit"], tmp_path, DEMO_TODAY))
    visit = ask("SELECT tesp_inwc, valid, like_new, airflow_source FROM visit_static").row(0, named=True)
    # supply 0.312 minus return -0.223; no zero readings, so nothing is subtracted; no blower table
    assert visit["tesp_inwc"] == pytest.approx(0.535, abs=1e-12)
    assert (visit["valid"], visit["like_new"], visit["airflow_source"]) == (True, True, "none")
    site = ask("SELECT n_visits, static_state, problem_side FROM site_static").row(0)
    assert site == (1, "too_few_visits", "none")
    assert ask("SELECT count(*) AS n FROM site_priority")["n"].item() == 0
