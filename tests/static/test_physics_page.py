"""docs/physics.md and its drawings against the publication of the demo fleet: every worked figure, computed."""

from __future__ import annotations

import runpy
from pathlib import Path
from typing import Any

import polars as pl
import pytest

from tests.conftest import ROOT, Query, query_of

PAGE = ROOT / "docs" / "physics.md"
MAKER = runpy.run_path(str(ROOT / "docs" / "images" / "make_physics.py"))


@pytest.fixture(scope="module")
def demo(demo_file: Path) -> Query:
    return query_of(demo_file)


@pytest.fixture(scope="module")
def visit(demo: Query) -> dict[str, Any]:
    return demo(f"SELECT * FROM visit_static WHERE visit_id = '{MAKER['VISIT']}'").row(0, named=True)


def test_the_drawings_are_those_that_the_script_makes() -> None:
    for name, text in MAKER["drawings"]().items():
        assert (PAGE.parent / "images" / name).read_text(encoding="utf-8") == text, f"run {MAKER['__file__']}"


def test_the_script_works_the_visit_as_the_tool_does(visit: dict[str, Any]) -> None:
    worked = MAKER["worked"]()
    assert worked.returned == pytest.approx(-visit["return_inwc"], abs=1e-9)
    assert worked.tesp == pytest.approx(visit["tesp_inwc"], abs=1e-9)
    assert worked.airflow == pytest.approx(visit["airflow_cfm"], abs=0.01)
    static, airflow = worked.crossing(worked.duct)
    assert (static, airflow) == pytest.approx((visit["tesp_inwc"], visit["airflow_cfm"]), abs=0.01)


def test_the_words_of_the_page_hold_the_tools_figures(visit: dict[str, Any], demo: Query) -> None:
    words = " ".join(PAGE.read_text(encoding="utf-8").split())
    worked = MAKER["worked"]()
    static, airflow = worked.crossing(worked.duct_mended)
    a = visit["airflow_ratio"] ** 2
    parts = demo(f"SELECT * FROM visit_component WHERE visit_id = '{MAKER['VISIT']}'")
    named = {"return_duct": "return duct", "supply_duct": "supply duct", "filter": "filter", "coil": "coil"}
    rows = [
        f"| {named[r['component']]} | {r['drop_inwc']:.3f} | {r['allowance_inwc']:.3f} | {r['excess_inwc']:.3f} |"
        for r in parts.iter_rows(named=True)
    ]
    supply = (worked.supplied / a + 0.256) * (a - 1) / 2
    causes = [visit[f"{c}_inwc"] for c in ("return_restriction", "supply_restriction", "airflow_setting")]
    said = [
        f"return {visit['return_inwc']:.3f}, supply {visit['supply_inwc']:+.3f}",
        f"= {visit['tesp_inwc']:.3f} in. w.c. rating {visit['rated_tesp_inwc']:.2f}",
        f"Squares add up: {visit['u_tesp_inwc']:.4f}.",
        f"over its rating by {visit['tesp_inwc'] - visit['rated_tesp_inwc']:.3f}",
        f"that is {visit['airflow_cfm']:.0f} cfm, {100 * visit['airflow_ratio']:.0f} % of the",
        f"{visit['design_cfm']:.0f} it was designed for, {visit['cfm_per_ton']:.0f} cfm a ton",
        f"= {visit['airflow_ratio']:.3f}^2 = {a:.3f}",
        f"| return | {worked.returned:.3f} | 0.244 | {causes[0]:.3f} | {causes[2] - supply:.3f} |",
        f"| supply | {worked.supplied:.3f} | 0.256 | {causes[1]:.3f} | {supply:.3f} |",
        f"| together | 0.848 | 0.500 | {causes[0] + causes[1]:.3f} | {causes[2]:.3f} |",
        f"these ducts would ask for {visit['tesp_inwc'] / a:.2f} in. w.c.",
        f"by {causes[0]:.3f} with a standard uncertainty of {visit['u_return_restriction_inwc']:.3f}",
        f"meets the fan at {static:.2f} in. w.c. and {airflow:.0f} cfm",
        *rows,
    ]
    assert len(rows) == 4
    missing = [piece for piece in said if piece not in words]
    assert not missing, missing


def test_the_budget_of_the_page(demo: Query) -> None:
    budget = demo(f"SELECT source, u_inwc FROM visit_uncertainty WHERE visit_id = '{MAKER['VISIT']}'")
    shown = {source: f"{u:.4f}" for source, u in budget.filter(pl.col("u_inwc") > 0).iter_rows()}
    assert shown == {
        "accuracy of the return port": "0.0058",
        "accuracy of the supply port": "0.0058",
        "gain shared by both ports": "0.0058",
        "resolution, both ports": "0.0004",
        "zero of the return port": "0.0005",
        "zero of the supply port": "0.0004",
    }
    words = PAGE.read_text(encoding="utf-8")
    for row in (
        "| 0.0058 and 0.0058 |",
        "(`port_correlation_dual`) | 0.0058 |",
        "| 0.0004 |",
        "| 0.0005 and 0.0004 |",
    ):
        assert row in words
