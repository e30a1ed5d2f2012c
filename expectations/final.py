"""The last look before publishing: the checks asked again, and the contracts of the tables to publish."""

from __future__ import annotations

from expectations import checks_suite, published
from expectations.rules import count_failing
from pipeline.stages import RunOrder
from pipeline.warehouse import Warehouse


def look_before_publishing(warehouse: Warehouse, order: RunOrder) -> None:
    """Fill `check_run`, add to `gate_result`; StageError if a count or a contract does not hold.

    Both suites run in one session, because the work file has to be closed for it.
    """
    some = checks_suite.some_technicians(warehouse, order.today)
    checks = checks_suite.check_rules(some)
    outcomes = count_failing(warehouse, checks + published.published_rules(warehouse))
    found = checks_suite.found_in(warehouse)
    checks_suite.compare(warehouse, outcomes[: len(checks)], some, found)
    checks_suite.record(warehouse, order, outcomes[: len(checks)], found)
    published.hold(warehouse, outcomes[len(checks) :])
