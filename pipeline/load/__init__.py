"""The load stage: files of the drops -> cleaned tables, ledger, rejected and superseded rows.

`load` is what the run calls; `accept` and `withdraw` say what became of it once the gate has judged; `open_work_file`
opens the work file, or a new one in place of a damaged one.
"""

from pipeline.load.rebuild import open_work_file
from pipeline.load.stage import accept, load, withdraw

__all__ = ["accept", "load", "open_work_file", "withdraw"]
