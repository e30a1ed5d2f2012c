"""The load stage: files of the drops -> cleaned tables, ledger, rejected and superseded rows.

`load` is what the run calls. What became of it once the gate has judged say `accept`, `hold` and `withdraw`;
`only_waits` tells which of the last two it is. `open_work_file` opens the work file, or a new one in place of a
damaged one.
"""

from pipeline.load.rebuild import open_work_file
from pipeline.load.stage import accept, hold, load, only_waits, withdraw

__all__ = ["accept", "hold", "load", "only_waits", "open_work_file", "withdraw"]
