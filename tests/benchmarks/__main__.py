"""`make bench`: the whole run at 0.1 and 1 million visits, and the script that people write today beside it.

Larger fleets, single stages and the examples have commands of their own; see each module's first lines.
"""

from __future__ import annotations

import subprocess
import sys

RUNS = (
    ("whole", "100000"),
    ("whole", "1000000", "--files"),
    ("today", "100000"),
)

for module, *arguments in RUNS:
    sys.stdout.write(f"\n--- {module} {' '.join(arguments)}\n")
    sys.stdout.flush()
    subprocess.run([sys.executable, "-m", f"tests.benchmarks.{module}", *arguments], check=True)
