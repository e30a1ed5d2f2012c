"""A folder is replaced as a whole or not at all."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from pipeline.errors import UsageError
from reports import PAGES, draw, swap
from reports.swap import swapped_in
from reports.worklists import NAMES


def write(folder: Path, word: str) -> None:
    with swapped_in(folder) as new:
        (new / "index.html").write_text(word, encoding="utf-8")


def read(folder: Path) -> str:
    return (folder / "index.html").read_text(encoding="utf-8")


def neighbours(folder: Path) -> list[str]:
    return sorted(p.name for p in folder.parent.iterdir())


def test_new_folder_takes_the_place_of_the_old(tmp_path: Path) -> None:
    folder = tmp_path / "deep" / "reports"
    write(folder, "first")
    (folder / "old.html").touch()
    write(folder, "second")
    assert read(folder) == "second"
    assert neighbours(folder) == ["reports"]
    assert not (folder / "old.html").exists()


def test_without_the_system_call_two_renames_do_it(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(swap, "_exchange", lambda one, other: False)
    write(tmp_path / "reports", "first")
    write(tmp_path / "reports", "second")
    assert read(tmp_path / "reports") == "second"
    assert neighbours(tmp_path / "reports") == ["reports"]


def write_half(folder: Path, error: Exception) -> None:
    with swapped_in(folder) as new:
        (new / "index.html").write_text("half", encoding="utf-8")
        raise error


def test_an_error_leaves_the_old_folder(tmp_path: Path) -> None:
    folder = tmp_path / "reports"
    write(folder, "first")
    with pytest.raises(OSError, match="disk full"):
        write_half(folder, OSError("disk full"))
    assert read(folder) == "first"
    assert neighbours(folder) == ["reports"]


def test_death_between_the_renames_is_mended_by_the_next_run(tmp_path: Path) -> None:
    folder = tmp_path / "reports"
    write(folder, "first")
    folder.rename(tmp_path / "reports.old")
    with pytest.raises(OSError, match="disk full"):
        write_half(folder, OSError("disk full"))
    assert read(folder) == "first"


@pytest.mark.parametrize("page", ["index.html", "training.html"])
def test_a_killed_run_leaves_the_last_set(page: str, published_file: Path, tmp_path: Path) -> None:
    folder = tmp_path / "reports"
    write(folder, "last set")
    script = (
        "import os, signal, sys\n"
        "from pathlib import Path\n"
        "from reports import draw\n"
        "def say(text):\n"
        "    if sys.argv[3] in text: os.kill(os.getpid(), signal.SIGKILL)\n"
        "draw(Path(sys.argv[1]), Path(sys.argv[2]), say)\n"
    )
    command = [sys.executable, "-c", script, str(published_file), str(folder), page]
    done = subprocess.run(command, check=False, cwd=Path(__file__).parents[2], env={**os.environ})
    assert done.returncode == -signal.SIGKILL
    assert [p.name for p in folder.iterdir()] == ["index.html"]
    assert read(folder) == "last set"


def test_what_a_killed_run_left_is_cleared(published_file: Path, tmp_path: Path) -> None:
    folder = tmp_path / "reports"
    (tmp_path / "reports.new").mkdir()
    (tmp_path / "reports.new" / "half.html").touch()
    draw(published_file, folder)
    assert sorted(p.name for p in folder.iterdir()) == sorted([*PAGES, *NAMES])
    assert neighbours(folder) == ["reports"]


def test_nothing_published_is_told(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="publish one first"):
        draw(tmp_path / "fleet.duckdb", tmp_path / "reports")
    assert not (tmp_path / "reports").exists()
