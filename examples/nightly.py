"""A nightly run for a Prefect server: retried where a retry can help, an alert where it cannot.

    python examples/nightly.py DROPS DIR                 serve it: each night at 02:30, until stopped
    python examples/nightly.py DROPS DIR --now           one run at once, on the server of PREFECT_API_URL

The run is a process of its own (`fleet-static run`), so that nothing of one night is left for the next; with the same
PREFECT_API_URL its stages stand on the same server. Exit 1, the gate, is not retried: the drop must be mended.
"""

from __future__ import annotations

import argparse
import subprocess
import sys
from pathlib import Path
from typing import Any

from prefect import flow, get_run_logger, task

NIGHTLY = "30 2 * * *"
TIME_ZONE = "America/Chicago"


class GateRefusedError(RuntimeError):
    """The drop breaks its contract; DIR/gate.html says why."""


def _worth_a_retry(_task: Any, _run: Any, state: Any) -> bool:
    try:
        state.result()
    except GateRefusedError:
        return False
    except Exception:
        return True
    return False


@task(retries=2, retry_delay_seconds=600, retry_condition_fn=_worth_a_retry)
def run_once(drops: str, into: str) -> str:
    """Run the drops into `into`; GateRefusedError on exit 1, RuntimeError on any other failure."""
    command = [str(Path(sys.executable).with_name("fleet-static")), "run", drops, "--into", into]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    get_run_logger().info(done.stdout + done.stderr)
    if done.returncode == 1:
        raise GateRefusedError(done.stderr.strip())
    if done.returncode:
        raise RuntimeError(done.stderr.strip())
    return done.stdout


def alert(_flow: Any, _run: Any, state: Any) -> None:
    """Say that the night's run failed. Put the mail or the message of your office here."""
    sys.stderr.write(f"fleet-static failed tonight: {state.message}\n")


@flow(name="fleet-static nightly", on_failure=[alert])
def nightly(drops: str, into: str) -> str:
    """One night's run."""
    return run_once(drops, into)


def main() -> None:
    """Serve the schedule, or run once."""
    parser = argparse.ArgumentParser()
    parser.add_argument("drops")
    parser.add_argument("into")
    parser.add_argument("--now", action="store_true")
    arguments = parser.parse_args()
    given = {"drops": str(Path(arguments.drops).resolve()), "into": str(Path(arguments.into).resolve())}
    if arguments.now:
        nightly(**given)
    else:
        from prefect.schedules import Cron

        nightly.serve(name="nightly", schedule=Cron(NIGHTLY, timezone=TIME_ZONE), parameters=given, limit=1)


if __name__ == "__main__":
    main()
