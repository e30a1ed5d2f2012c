"""docs/contract.md says of inputs, tables, checks and commands what the code does."""

from __future__ import annotations

import re

import pytest

from pipeline.catalog import all_tables, table_entry
from pipeline.cli import build_parser
from pipeline.errors import GateError, UsageError
from pipeline.load.inputs import TABLES, Table
from pipeline.publish import PUBLISHED
from pipeline.settings import DEFAULTS
from tests.conftest import ROOT

PAGE = (ROOT / "docs" / "contract.md").read_text(encoding="utf-8")
SECTIONS = {
    number: text
    for number, text in re.findall(r"^## (\d)\. (.*?)(?=^## |\Z)", PAGE, re.MULTILINE | re.DOTALL)
}
LINES = re.compile(r"^- (`.*?)(?=^- |^\S|^$)", re.MULTILINE | re.DOTALL)


def listed(section: str) -> dict[str, str]:
    """The tables that a section lists, each with what is said of it."""
    return {
        name: line.partition(":")[2]
        for line in LINES.findall(SECTIONS[section])
        for name in re.findall(r"`(\w+)`", line.partition(":")[0])
    }


def columns(said: str) -> list[str]:
    """The columns named there, outside of brackets; a * stays."""
    while (plain := re.sub(r"\([^()]*\)", "", said)) != said:
        said = plain
    return re.findall(r"^\s*(\w+\*?)\s*$", said.replace(",", "\n"), re.MULTILINE)


@pytest.mark.parametrize("table", TABLES, ids=lambda t: t.name)
def test_an_input_table_has_just_the_columns_of_the_page(table: Table) -> None:
    stated = [f"{c.name}*" if c.required else c.name for c in table.columns if c.name != "recorded_at"]
    assert columns(listed("1")[table.name]) == stated
    for column in table.columns:
        for word in column.words:
            assert word in listed("1")[table.name], (column.name, word)


def test_every_published_table_stands_there_or_is_said_to_be_beyond_it() -> None:
    promised = set(listed("3"))
    beyond = set(re.findall(r"`(\w+)`", SECTIONS["3"].partition("Beyond the contract")[2]))
    assert promised & beyond == set()
    assert promised | beyond == set(PUBLISHED), "section 3 of docs/contract.md"


@pytest.mark.parametrize("name", sorted(listed("3")))
def test_a_promised_table_has_the_columns_that_are_promised(name: str) -> None:
    promised = set(columns(listed("3")[name]))
    assert promised <= {c.name for c in table_entry(name).columns}
    assert set(table_entry(name).key) <= promised or not promised


def test_the_tables_promised_in_columns_are_read_from_the_page() -> None:
    assert len([name for name in listed("3") if columns(listed("3")[name])]) == 15
    assert len(columns(listed("3")["visit_static"])) == 31


def test_a_source_names_a_section_that_there_is() -> None:
    sources = [s.source for s in DEFAULTS]
    sources += [c.source for entry in all_tables().values() for c in entry.columns]
    named = {number for source in sources for number in re.findall(r"data contract,? section (\d)", source)}
    assert named
    assert named <= SECTIONS.keys()


def test_the_commands_and_exit_statuses_are_those_of_the_command_line() -> None:
    (commands,) = [a.choices for a in build_parser()._actions if a.choices]
    named = set(re.findall(r"^\| `fleet-static ([\w-]+)", SECTIONS["5"], re.MULTILINE))
    assert named == set(commands or ()) - {"export"}
    assert f"{GateError.exit_status} the drop's gate failed" in SECTIONS["5"]
    assert f"{UsageError.exit_status} the command or its input" in SECTIONS["5"]
