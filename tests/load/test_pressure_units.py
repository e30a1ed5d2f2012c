"""Readings in mm w.c. or Pa that nobody named are told, by file; what blowers and slips do is not."""

from __future__ import annotations

from pathlib import Path

import pint
import pytest

from tests.load.drops import SOUND, VISIT_COLUMNS, Files, Store, write_drop

UNITS = {"mmwc": "mmH2O", "pa": "pascal"}  # as pint calls them, whose factors these are
READINGS = [(-0.11, 0.14), (-0.15, 0.2), (-0.22, 0.31), (-0.3, 0.25), (-0.38, 0.3), (-0.7, 0.6)]


def _in(unit: str) -> float:
    """What 1 in. w.c. is in the unit."""
    return float(pint.UnitRegistry().Quantity(1, "inH2O").to(UNITS[unit]).magnitude)


def _drop(folder: Path, times: list[float], said: str = "") -> Path:
    """A drop with a visit for each factor, whose readings are so many times in. w.c.; `said`: their unit."""
    pairs = [READINGS[k % len(READINGS)] for k in range(len(times))]
    rows = [
        f"V{k},S1,E1,T1,2026-03-0{k + 1}T08:00:00Z,cooling,{r * by:.4f},{s * by:.4f},{said}"
        for k, ((r, s), by) in enumerate(zip(pairs, times, strict=True))
    ]
    visits = "\n".join([f"{VISIT_COLUMNS},pressure_unit", *rows, ""])
    files: Files = {**SOUND, "visits.csv": visits}
    return write_drop(folder, files)


def _said(folder: Path, times: list[float], said: str = "") -> str:
    store = Store(folder / "into")
    store.run(_drop(folder / "drop", times, said))
    return "\n".join(store.said)


@pytest.mark.parametrize("unit", UNITS)
@pytest.mark.parametrize("said", ["", "inwc"])
def test_another_unit_is_asked_for(tmp_path: Path, unit: str, said: str) -> None:
    (line,) = _said(tmp_path, [_in(unit)] * 6, said).splitlines()
    assert line.startswith("visits.csv: half of the visits in in. w.c. show")
    assert line.endswith(f'pressure_unit = "{unit}", of rows that name none')


@pytest.mark.parametrize("unit", UNITS)
def test_readings_that_say_their_unit_are_not_asked_about(tmp_path: Path, unit: str) -> None:
    assert _said(tmp_path, [_in(unit)] * 6, unit) == ""


def test_sound_readings_slips_and_few_visits_say_nothing(tmp_path: Path) -> None:
    assert _said(tmp_path / "sound", [1] * 6) == ""
    assert _said(tmp_path / "high", [6] * 6) == ""  # beyond what a blower makes on some visits, not on most
    assert _said(tmp_path / "slips", [_in("pa")] * 2 + [1] * 4) == ""
    assert _said(tmp_path / "few", [_in("pa")] * 4) == ""


def test_a_mapping_that_says_the_unit_ends_it(tmp_path: Path) -> None:
    drop = _drop(tmp_path / "drop", [_in("mmwc")] * 6)
    mapping = tmp_path / "mapping.toml"
    mapping.write_text('pressure_unit = "mmwc"\n')
    store = Store(tmp_path / "into")
    store.run(drop, mapping=mapping)
    assert store.said == []
