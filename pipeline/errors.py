"""The errors that a user can meet, and the exit status each one ends with (data contract, section 5)."""

from __future__ import annotations


class FleetStaticError(Exception):
    """Base of every error that the command line shows as a message, without a traceback."""

    exit_status = 2


class UsageError(FleetStaticError):
    """The command, its arguments or its input cannot be used."""


class GateError(FleetStaticError):
    """The drop broke a table's contract: nothing is published, the last publication stands.

    `curable`: only rules are broken that more files could mend.
    """

    exit_status = 1

    def __init__(self, message: str, curable: bool = False) -> None:
        super().__init__(message)
        self.curable = curable


class StageError(FleetStaticError):
    """A stage broke (not: a check failed). Carries the SQL file and the statement that raised."""
