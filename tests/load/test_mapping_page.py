"""docs/mapping.md says all that a mapping may say, and its example is one."""

from __future__ import annotations

import re
from dataclasses import fields
from pathlib import Path

import pytest

from pipeline.load.inputs import BY_NAME
from pipeline.load.mapping import SEPARATOR_WORDS, UNITS, Mapping, TableMapping, parse_mapping

PAGE = (Path(__file__).parents[2] / "docs" / "mapping.md").read_text(encoding="utf-8")
(EXAMPLE,) = re.findall(r"```toml\n(.*?)```", PAGE, re.DOTALL)


def test_the_example_says_everything_once() -> None:
    said = parse_mapping(EXAMPLE, "the page")
    empty = Mapping()
    left_out = [f.name for f in fields(Mapping) if getattr(said, f.name) == getattr(empty, f.name)]
    assert left_out == []
    for part in fields(TableMapping):
        assert any(getattr(mapped, part.name) for mapped in said.tables.values()), part.name


def test_words_that_the_example_translates_are_the_contracts() -> None:
    for table, mapped in parse_mapping(EXAMPLE, "the page").tables.items():
        for column, words in mapped.values.items():
            ours = BY_NAME[table].column(column)
            assert set(words.values()) <= set(ours.choices)
        for column, constant in mapped.constants.items():
            assert constant in BY_NAME[table].column(column).words


@pytest.mark.parametrize(
    "word", sorted({*SEPARATOR_WORDS, *(unit for units in UNITS.values() for unit in units)})
)
def test_every_unit_and_separator_is_named(word: str) -> None:
    assert re.search(rf"\b{word}\b", PAGE)


def test_rows_of_both_modes_are_parted_as_the_page_shows(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A page header within, a blank line, units in cells, eaten zeros, a reading left out, totals and a footer."""
    header = "Job,Unit,Heat return,Heat supply,Cool return,Cool supply\n"
    rows = f"7,123,-0.12 in,0.2 in,-.5 in,0.61 in\n{header}\n,,,,,\n8,0124,,,-0.3 in,0.4 in\n"
    (tmp_path / "Readings_wide.csv").write_text(f"{header}{rows}Total,2,,,,\nPrinted on Friday\n")
    (shown,) = re.findall(r"```python\n(.*?)```", PAGE, re.DOTALL)
    monkeypatch.chdir(tmp_path)
    exec(shown, {})
    assert (tmp_path / "visits_long.csv").read_text().splitlines() == [
        "visit_id,equipment_id,mode,return_static,supply_static",
        "7-heating,0123,heating,-0.12,0.2",
        "7-cooling,0123,cooling,-.5,0.61",
        "8-cooling,0124,cooling,-0.3,0.4",
    ]
