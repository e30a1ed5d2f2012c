"""The last look before publishing: the checks asked again, and the contracts of the tables to publish."""

from __future__ import annotations

from expectations import checks_suite, published
from expectations.again import asked_again
from expectations.rules import count_failing
from pipeline.stages import RunOrder
from pipeline.warehouse import Warehouse


def look_before_publishing(warehouse: Warehouse, order: RunOrder) -> None:
    """Fill `check_run`, add to `gate_result`; StageError if a count or a contract does not hold.

    Both suites run in one session: what it brings for them is brought once.
    """
    again = asked_again(warehouse, order.today)
    checks = checks_suite.check_rules(again)
    rules = checks + published.published_rules(warehouse)
    outcomes = count_failing(warehouse, rules, *again.set_up(warehouse))
    checks_suite.compare(warehouse, outcomes[: len(checks)], again)
    checks_suite.record(warehouse, order, outcomes[: len(checks)], checks_suite.found_in(warehouse))
    published.hold(warehouse, outcomes[len(checks) :])
