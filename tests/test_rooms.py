"""What a stage may import of the house: the core, and what is described once (DEVELOPERS.md, The way of the data)."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

TOP = Path(__file__).resolve().parent.parent
CORE = {"settings", "errors", "warehouse", "steps", "imports", "functions", "moderation", "durable"}
# By folder what else it imports of `pipeline`.
ROOMS: dict[str, set[str]] = {
    "pipeline/load": {"stages", "change"},
    "pipeline/technician": {"checks"},
    "pipeline/site": set(),
    "pipeline/work": set(),
    "expectations": {"stages", "checks", "catalog", "load.inputs", "load.asked"},
    "reports": {"catalog"},
}


def imported(file: Path) -> set[str]:
    """Modules that a file imports, wherever in it."""
    found = set()
    for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found |= {name.name for name in node.names}
        elif isinstance(node, ast.ImportFrom):
            found.add(str(node.module))
    return found


@pytest.mark.parametrize("room", ROOMS)
def test_a_stage_imports_the_core_and_what_is_described_once(room: str) -> None:
    files = sorted((TOP / room).rglob("*.py"))
    assert files
    own = room.replace("/", ".")
    for file in files:
        others = {name for name in imported(file) if not f"{name}.".startswith(f"{own}.")}
        ours = {name.partition(".")[2] for name in others if name.split(".")[0] == "pipeline"}
        allowed = {
            name for name in ours if any(f"{name}.".startswith(f"{one}.") for one in ROOMS[room] | CORE)
        }
        assert ours == allowed, file
        assert not {"reports", "expectations"} & {name.split(".")[0] for name in others}, file
