"""The load stage: files of the drops -> cleaned tables, ledger, rejected and superseded rows.

`load` is what the run calls; `accept` and `withdraw` say what became of a load once the gate has judged it.
"""

from pipeline.load.stage import accept, load, withdraw

__all__ = ["accept", "load", "withdraw"]
