"""How large imports are done: the collector waits for all of them, and no longer."""

from __future__ import annotations

import gc

from pipeline.imports import collecting_later


def test_the_collector_waits_for_the_last_of_overlapping_imports() -> None:
    first, second = collecting_later(), collecting_later()
    assert gc.isenabled()
    first.__enter__()
    second.__enter__()
    first.__exit__(None, None, None)
    assert not gc.isenabled()
    second.__exit__(None, None, None)
    assert gc.isenabled()


def test_a_collector_that_was_off_stays_off() -> None:
    gc.disable()
    try:
        with collecting_later(), collecting_later():
            pass
        assert not gc.isenabled()
    finally:
        gc.enable()
