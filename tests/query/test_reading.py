"""The pages for readers do what they say: every Python and shell line of docs/reading.md, and the notebook."""

from __future__ import annotations

import ast
import json
import re
import shlex
import shutil
from pathlib import Path
from typing import Any

import altair as alt
import duckdb
import polars as pl
import pytest

from pipeline.cli import main
from pipeline.query import Door

ROOT = Path(__file__).resolve().parents[2]
PAGE = (ROOT / "docs" / "reading.md").read_text(encoding="utf-8")
NOTEBOOK = ROOT / "examples" / "ask_the_fleet.ipynb"


def _blocks(language: str) -> list[str]:
    return re.findall(rf"```{language}\n(.*?)```", PAGE, re.DOTALL)


@pytest.fixture(scope="module")
def workplace(demo_file: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with out/demo in it, as `make demo` leaves it, and its export."""
    folder = tmp_path_factory.mktemp("work")
    (folder / "out" / "demo").mkdir(parents=True)
    shutil.copy(demo_file, folder / "out" / "demo")
    assert main(["export", str(folder / "out" / "demo"), "--into", str(folder / "out" / "parquet")]) == 0
    return folder


def test_the_shell_lines_run(
    workplace: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(workplace)
    lines = [line for block in _blocks("sh") for line in block.splitlines()]
    assert len(lines) == 5
    for line in lines:
        words = shlex.split(line.split(" > ")[0])
        assert words.pop(0) == "fleet-static"
        if words[0] == "export":
            shutil.rmtree("out/parquet")
        assert main(words) == 0
        assert len(capsys.readouterr().out) > 50 or words[0] == "export"


@pytest.mark.parametrize("block", _blocks("python"), ids=range(len(_blocks("python"))))
def test_the_python_lines_run(workplace: Path, monkeypatch: pytest.MonkeyPatch, block: str) -> None:
    monkeypatch.chdir(workplace)
    names: dict[str, Any] = {}
    exec(block, names)
    assert len(block.splitlines()) == 3
    for name, least in (("worst", 10), ("priority", 10), ("visits", 300)):
        assert name not in names or len(names[name]) >= least


def _quiet_faults() -> list[tuple[str, str]]:
    table = re.search(r"\| asked \|.*?\n\n", PAGE, re.DOTALL)
    assert table
    rows = [re.findall(r"`(SELECT[^`]+)`", line) for line in table[0].splitlines()[2:] if line]
    assert all(len(row) == 2 for row in rows)
    return [(asked, better) for asked, better in rows]


@pytest.mark.parametrize(("asked", "better"), _quiet_faults())
def test_a_question_that_goes_wrong_quietly_does(demo_file: Path, asked: str, better: str) -> None:
    """Both run, and answer otherwise: the page warns of nothing that does not happen."""
    with Door(demo_file) as door:
        ((wrong,),), ((right,),) = door.rows(asked), door.rows(better)
    assert wrong is not None
    assert right is not None
    assert abs(wrong - right) > 0.005, (wrong, right)


def _code_cells() -> list[str]:
    cells = json.loads(NOTEBOOK.read_text(encoding="utf-8"))["cells"]
    for cell in cells:
        assert cell.get("outputs", []) == [], "the notebook is kept without its output"
        assert cell.get("execution_count") is None
    return ["".join(cell["source"]) for cell in cells if cell["cell_type"] == "code"]


def _run_cell(source: str, names: dict[str, Any]) -> Any:
    """Run a cell as a notebook does; the value of its last expression."""
    tree = ast.parse(source)
    last = tree.body.pop() if isinstance(tree.body[-1], ast.Expr) else None
    exec(compile(tree, "cell", "exec"), names)
    return (
        eval(compile(ast.Expression(last.value), "cell", "eval"), names)
        if isinstance(last, ast.Expr)
        else None
    )


def test_the_notebook_runs_from_top_to_bottom(demo_file: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("FLEET_DIR", str(demo_file.parent))
    names: dict[str, Any] = {}
    shown = [_run_cell(source, names) for source in _code_cells()]
    assert len(shown) == 6
    assert all(isinstance(value, pl.DataFrame | alt.TopLevelMixin) for value in shown)
    with duckdb.connect(str(demo_file), read_only=True) as con:
        assert names["levels"].height == con.sql(
            "SELECT count(*) FROM site_static WHERE static_state <> 'too_few_visits'"
        ).fetchall()[0][0]  # fmt: skip
    assert names["worst"]["rank"].to_list() == list(range(1, 11))
    assert names["trend"]["p_value"].is_sorted()
    assert names["chart"].to_dict()["facet"]["column"]["field"] == "mode"
    assert names["filter_share"]["median_share"].is_between(0, 1).all()
