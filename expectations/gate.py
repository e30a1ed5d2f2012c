"""The gate: may what was loaded be published? A drop that breaks a contract is refused, with the reason.

What belongs here: judging a loaded drop and saying why it was refused. What does not: the rules
(`contracts.py`, `sql/gate/`), and what happens to a refused drop (`pipeline/stages.py`, `pipeline/load/`).
"""

from __future__ import annotations

from collections.abc import Sequence
from html import escape
from typing import Any

from expectations.changed import ChangedRows
from expectations.contracts import loaded_rules
from expectations.results import Judged, judge, keep
from expectations.rules import count_failing
from pipeline.errors import GateError
from pipeline.warehouse import Warehouse

# Rules that a drop may break only because other files have not come yet; `only_waits` looks whether that is all.
CURABLE = {"few rows of each table of the drop are rejected", "no key table is empty where visits came"}
SAID_AT_MOST = 20
NAMED_AT_MOST = 5


def gate(warehouse: Warehouse) -> None:
    """Judge the loaded tables, keep the verdicts in `gate_result`; GateError if one is against the drop."""
    rules = loaded_rules(ChangedRows(warehouse).suffice)
    judged = judge(warehouse, count_failing(warehouse, rules))
    keep(warehouse, "loaded", judged)
    broken = [row for row in judged if not row.success]
    if broken:
        raise GateError(_why(broken), curable=all(row.expectation in CURABLE for row in broken))


def _why(broken: Sequence[Judged]) -> str:
    lines = [line for row in broken for line in _said(row)]
    more = len(lines) - SAID_AT_MOST
    shown = lines[:SAID_AT_MOST] + ([f"and {more} more"] if more > 0 else [])
    return "\n  ".join(
        ["the drop breaks its contract; nothing is published, the last publication stands", *shown]
    )


def _said(row: Judged) -> list[str]:
    if row.sentences:
        return list(row.examples)
    allowed = f", at most {row.allowed} may" if row.allowed else ""
    named = ", ".join(row.examples[:NAMED_AT_MOST]) + (", ..." if row.observed > NAMED_AT_MOST else "")
    return [f"{row.table_name}: {row.observed} rows break '{row.expectation}'{allowed}: {named}"]


def gate_page(rows: Sequence[dict[str, Any]]) -> str:
    """A small self-contained page of the verdicts (rows of `gate_result`), the broken ones first."""
    ordered = sorted(rows, key=lambda row: bool(row["success"]))
    body = "\n".join(_page_row(row) for row in ordered)
    failed = sum(not row["success"] for row in rows)
    verdict = (
        f"Refused: {failed} of {len(rows)} expectations {'is' if failed == 1 else 'are'} broken. Nothing was "
        "published; the last publication, if there is one, stands. What is broken comes first: mend it where the "
        "files come from, or bring the files that are missing, and run again."
        if failed
        else f"Passed: all {len(rows)} expectations hold."
    )
    return _PAGE.format(verdict=escape(verdict), body=body)


def _page_row(row: dict[str, Any]) -> str:
    cells = [
        "holds" if row["success"] else "broken",
        row["table_name"],
        row["expectation"],
        row["observed"],
        row["allowed"],
        row["detail"] or "",
    ]
    kind = "" if row["success"] else ' class="broken"'
    return f"<tr{kind}>" + "".join(f"<td>{escape(str(cell))}</td>" for cell in cells) + "</tr>"


_PAGE = """<!doctype html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<title>The gate</title>
<style>
:root {{ color-scheme: light dark; }}
body {{ font: 16px/1.5 system-ui, sans-serif; margin: 2rem auto; max-width: 70rem; padding: 0 1rem; }}
table {{ border-collapse: collapse; width: 100%; }}
th, td {{ text-align: left; vertical-align: top; padding: .35rem .6rem; border-bottom: 1px solid #d5dae1; }}
td:last-child {{ overflow-wrap: anywhere; min-width: 14rem; }}
div {{ overflow-x: auto; }}
tr.broken td:first-child {{ font-weight: 700; color: light-dark(#9b1c1c, #ff9d94); }}
</style>
</head>
<body>
<h1>May this drop be published?</h1>
<p>{verdict}</p>
<div tabindex="0" role="region" aria-label="Expectations"><table>
<thead><tr><th scope="col">Verdict</th><th scope="col">Table</th><th scope="col">Expectation</th>
<th scope="col">Rows that break it</th><th scope="col">Rows that may</th>
<th scope="col">The first of them</th></tr></thead>
<tbody>
{body}
</tbody>
</table></div>
</body>
</html>
"""
