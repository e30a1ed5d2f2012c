"""Small faults put into the checks' SQL one at a time, to see whether the cases notice each of them.

A mutant changes one comparison, boolean, constant, sign or function in one file of `sql/checks` or `sql/repair`; text
that is shown to people (words in a `detail`) and comments stay. A mutant of a check is asked against that check's own
cases; a mutant of a repair runs through the later repairs and every check that reads what they made.
"""

from __future__ import annotations

import re
from collections.abc import Container, Iterator
from dataclasses import dataclass

import duckdb

from pipeline.checks import Check, all_checks
from pipeline.warehouse import SQL_DIR
from tests.sql.cases import Case, Expected
from tests.sql.outcome import Outcome, differences, judge

REPAIRS = tuple(sorted(p.name for p in (SQL_DIR / "repair").glob("*.sql")))

# Settings that count whole things: the next whole number is the nearest other limit.
COUNTED = (
    "repeat_decimals",
    "zeros_unchanged_min_visits",
    "zeros_unchanged_min_days",
    "digits_min_readings",
    "calibration_max_age_days",
)
# What the static stage makes: not asked about where a repair is changed.
STATIC = frozenset(
    ("valid", "like_new", "set_aside_because", "repairs", "sides_known", "return_recorded", "supply_recorded")
)

# (what is looked for, what stands there instead); each place is a mutant of its own.
SWAPS: tuple[tuple[str, tuple[str, ...]], ...] = (
    (r"(?<![<>!=])<=", ("<", ">")),
    (r"(?<![<>!=])>=", (">", "<")),
    (r"<>", ("=",)),
    (r"(?<![<>!=])<(?![=>])", ("<=", ">")),
    (r"(?<![<>!=])>(?![=])", (">=", "<")),
    (r"(?<![<>!=])=(?![=>])", ("<>",)),
    (r"\bexceeds\(", ("NOT exceeds(",)),
    (r"\bwithin\(", ("NOT within(",)),
    (r"\bAND\b(?! CURRENT ROW| window_us)", ("OR",)),
    (r"\bOR\b(?! REPLACE)", ("AND",)),
    (r"\bNOT\b(?! EXISTS)(?! NULL)", ("",)),
    (r"\bIS NULL\b", ("IS NOT NULL",)),
    (r"\bIS NOT NULL\b", ("IS NULL",)),
    (r"\bTRUE\b", ("FALSE",)),
    (r"\bFALSE\b", ("TRUE",)),
    (r"\bgreatest\(", ("least(",)),
    (r"\bleast\(", ("greatest(",)),
    (r"\bmin\(", ("max(",)),
    (r"\bmax\(", ("min(",)),
    (r"\babs\(", ("(",)),
    (r"(?<=[\w)] )\+(?= [\w(])", ("-",)),
    (r"(?<=[\w)] )-(?= [\w(])", ("+",)),
    (r"(?<=[\w)] )\*(?= [\w(])", ("/",)),
    (r"(?<=[\w)] )/(?= [\w(])", ("*",)),
    (r"(?<=THEN )-(?=\w)", ("",)),
    (r"(?<=, )-(?=\w)", ("",)),
    (r"(?<![\w.])0(?![\w.])", ("0.001", "(-1)")),
    (r"(?<![\w.])(?!0(?!\.))\d+(?:\.\d+)?(?![\w.])", ("({0} + 1)", "({0} - 1)")),
    (r"(?<![\w.])\d+e\d+\b", ("({0} * 1.01)", "({0} * 0.99)")),
    (rf"getvariable\('(?!today|{'|'.join(COUNTED)})\w+'\)", ("({0} * 1.01)", "({0} * 0.99)")),
    (rf"getvariable\('(?:{'|'.join(COUNTED)})'\)", ("({0} + 1)", "({0} - 1)")),
    (r"getvariable\('today'\)", ("({0} + 1)", "({0} - 1)")),
    (r"'[a-z_]+'(?!\))", ("'another_word'",)),
    (r"\bEXCLUDE GROUP\b", ("", "EXCLUDE CURRENT ROW", "EXCLUDE TIES")),
    (r"(?<=AND )CURRENT ROW\b", ("UNBOUNDED FOLLOWING",)),
    (r"\bwindow_us PRECEDING", ("0 PRECEDING",)),
    (r"\bwindow_us FOLLOWING", ("0 FOLLOWING",)),
    (r"\blead\(", ("lag(",)),
    (r"\blag\(", ("lead(",)),
)


@dataclass(frozen=True)
class Mutant:
    """One fault: the file, its line, what stood there and what stands there now, and the whole text with it."""

    file: str
    line: int
    was: str
    now: str
    context: str
    text: str

    def __str__(self) -> str:
        return f"{self.file}:{self.line}: {self.was!r} -> {self.now!r} in {self.context!r}"


def mutants(file: str, text: str) -> Iterator[Mutant]:
    """Every mutant of a file's text."""
    shown = _hidden(text)
    for pattern, replacements in SWAPS:
        for match in re.finditer(pattern, shown):
            if "\0" in match.group():
                continue
            was = text[match.start() : match.end()]
            for replacement in replacements:
                now = replacement.replace("{0}", was)
                line = text.count("\n", 0, match.start())
                yield Mutant(
                    file,
                    line + 1,
                    was,
                    now,
                    text.splitlines()[line].strip(),
                    text[: match.start()] + now + text[match.end() :],
                )


def _hidden(text: str) -> str:
    """The text with comments and every string that holds more than one word blanked out, place by place."""

    def blank(match: re.Match[str]) -> str:
        return match.group() if re.fullmatch(r"'[a-z_]+'", match.group()) else "\0" * len(match.group())

    text = re.sub(r"--[^\n]*", lambda m: "\0" * len(m.group()), text)
    return re.sub(r"'(?:[^']|'')*'", blank, text)


class Bench:
    """A warehouse with the rows of some cases, repaired and checked, that can be asked again about each mutant."""

    def __init__(self, cases: tuple[Case, ...]) -> None:
        self.cases = cases
        self.warehouse, _ = judge(cases)

    def ask(self, check: Check, sql: str) -> list[tuple[str, str, str, str]]:
        """visit_id, check_id, consequence, detail of what the SQL finds."""
        found = self.warehouse.con.sql(
            f"SELECT visit_id, '{check.check_id}', consequence, detail FROM ({sql})"
        )
        return [(v, i, c, d) for v, i, c, d in found.fetchall()]


class CheckBench(Bench):
    """Mutants of checks, each asked against the cases in the check's own file."""

    def is_caught(self, check: Check, mutant: Mutant) -> bool:
        """Do the check's own cases notice the mutant? One that cannot run is noticed."""
        lines = [line for line in mutant.text.splitlines() if not line.startswith("-- ")]
        outcome = Outcome()
        try:
            outcome.add(self.ask(check, "\n".join(lines).strip().rstrip(";")))
        except (duckdb.Error, AssertionError):
            return True
        own = [e for case in self.cases if case.file == check.check_id for e in case.expected]
        return any(differences(_narrowed(e, {check.check_id}, ()), outcome) for e in own)


class RepairBench(Bench):
    """Mutants of repairs, each followed through the later repairs and the checks that read what these made."""

    def __init__(self, cases: tuple[Case, ...]) -> None:
        self.readers = tuple(
            c for c in all_checks() if re.search(r"(?:FROM|JOIN) (?:noticed_)?reading\b", c.sql)
        )
        self.reader_ids = {c.check_id for c in self.readers}
        checks = {c.check_id for c in all_checks()}
        super().__init__(tuple(c for c in cases if c.file in self.reader_ids or c.file not in checks))
        columns = {row[0] for row in self.warehouse.con.sql("DESCRIBE reading").fetchall()}
        self.expected = [_narrowed(e, self.reader_ids, columns) for case in self.cases for e in case.expected]
        self.changed = REPAIRS[0]  # the first file that does not stand as it does in the house

    def is_caught(self, mutant: Mutant) -> bool:
        """Does any case notice the mutant of a repair? One that cannot run is noticed."""
        outcome = Outcome()
        try:
            self._repair(mutant)
            for check in self.readers:
                outcome.add(self.ask(check, check.sql))
            frame = self.warehouse.con.sql("SELECT * FROM reading").pl()
        except (duckdb.Error, AssertionError):
            return True
        outcome.values = {row["visit_id"]: row for row in frame.iter_rows(named=True)}
        return any(differences(expected, outcome) for expected in self.expected)

    def _repair(self, mutant: Mutant) -> None:
        """Run the repairs from the mutant on, or from the file that an earlier mutant has left changed."""
        first, self.changed = min(self.changed, mutant.file), mutant.file
        for name in REPAIRS:
            if name >= first:
                text = (
                    mutant.text
                    if name == mutant.file
                    else (SQL_DIR / "repair" / name).read_text(encoding="utf-8")
                )
                for statement in self.warehouse.con.extract_statements(text):
                    self.warehouse.con.execute(statement.query)


def _narrowed(expected: Expected, check_ids: Container[str], columns: Container[str]) -> Expected:
    """What is expected of these checks and columns alone."""
    return Expected(
        expected.visit_id,
        {k: v for k, v in expected.findings.items() if k in check_ids},
        {k: v for k, v in expected.details.items() if k in check_ids},
        {k: v for k, v in expected.becomes.items() if k in columns and k not in STATIC},
    )
