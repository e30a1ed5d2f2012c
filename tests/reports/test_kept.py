"""What an environment keeps for the pages: made once, the same as made anew, and done without where it cannot lie."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from reports import kept


@pytest.fixture
def share(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    """An environment's folder of the test's own, and nothing remembered in this process."""
    monkeypatch.setattr(kept, "folder", lambda: tmp_path / "share")
    kept.vega_bundle.cache_clear()
    yield tmp_path / "share"
    kept.vega_bundle.cache_clear()


def test_the_script_is_made_once(share: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    made = kept.vega_bundle()
    (file,) = share.iterdir()
    monkeypatch.setattr(kept, "make_bundle", lambda: pytest.fail("made again"))
    kept.vega_bundle.cache_clear()
    assert kept.vega_bundle() == made == file.read_bytes().decode("utf-8")
    assert "</script" not in made


def test_an_environment_that_cannot_be_written_to_is_done_without(share: Path) -> None:
    share.write_text("a file in the folder's place")
    assert len(kept.vega_bundle()) > 100_000
    assert kept.compiled_templates() is None
