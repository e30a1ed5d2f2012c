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
