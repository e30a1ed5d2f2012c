"""Who does the work on parts: an object with `map`, as `concurrent.futures` has it.

`Here` does it in this process, one part after another; `Workers` on the cluster that Prefect's Dask runner holds.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, Protocol, TypeVar

from pipeline.errors import FleetStaticError, StageError

Item = TypeVar("Item")
Done = TypeVar("Done")
RETRIES = 2  # of a task whose worker was lost; Dask itself moves it to other workers before that


class Pool(Protocol):
    """Runs one function on many items; `workers` says about how many at once."""

    workers: int

    def map(self, function: Callable[[Item], Done], items: Sequence[Item]) -> list[Done]:
        """The results in the order of the items. What the function raises is raised here."""
        ...


@dataclass
class Here:
    """No cluster: one item after another in this process."""

    workers: int = 1

    def map(self, function: Callable[[Item], Done], items: Sequence[Item]) -> list[Done]:
        """Call `function` on each item."""
        return [function(item) for item in items]


@dataclass
class Workers:
    """The workers of a Dask cluster, each call a Prefect task of the flow that is running."""

    workers: int

    def map(self, function: Callable[[Item], Done], items: Sequence[Item]) -> list[Done]:
        """Submit all items, then wait for all; a task whose worker died is tried again elsewhere."""
        from prefect import task
        from prefect.cache_policies import NO_CACHE

        step: Any = task(
            name=function.__name__, retries=RETRIES, cache_policy=NO_CACHE, persist_result=False
        )(function)
        done: list[Done] = []
        problem: Exception | None = None
        try:
            futures = [step.submit(item) for item in items]
        except Exception as error:  # the cluster starts with the first task
            raise _told(function.__name__, error) from error
        for future in futures:
            try:
                done.append(future.result())
            except Exception as error:  # every task is waited for: none may write on while the run cleans up
                problem = problem or error
        if problem is not None:
            raise _told(function.__name__, problem) from problem
        return done


def _told(name: str, error: Exception) -> FleetStaticError:
    """What the run says of it: the program's own errors as they are, those of the cluster with their consequence."""
    if isinstance(error, FleetStaticError):
        return error
    return StageError(
        f"the cluster could not finish {name}: {type(error).__name__}: {error}; "
        "nothing is published, the last publication stands"
    )
