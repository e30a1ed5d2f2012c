"""What a stage does, step by step, and how far each step has to see.

A step of scope `equipment` makes the same rows for a piece of equipment whatever other equipment is there, given the
tables of the fleet-wide steps before it: it may run on any part of the fleet. A step of scope `fleet` needs all of it.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Literal

from pipeline.warehouse import Warehouse

Scope = Literal["equipment", "fleet"]


@dataclass(frozen=True)
class Step:
    """One SQL file below `sql/`, or a function between SQL files.

    `makes` names the tables and views that later stages, steps of another scope or the publication read. `reads` names
    the tables that a function reads of those that steps of the other scope make; of an SQL file they are
    found in its text.
    """

    scope: Scope
    run: str | Callable[[Warehouse], None]
    makes: tuple[str, ...] = ()
    reads: tuple[str, ...] = ()


def run_steps(warehouse: Warehouse, steps: Sequence[Step]) -> None:
    """Run the steps in order over whatever the warehouse holds."""
    for step in steps:
        if isinstance(step.run, str):
            warehouse.run(step.run)
        else:
            step.run(warehouse)
