"""fleet-static: total external static pressure over a whole fleet of furnaces and fan coils.

The packages are the stages' helpers; the work itself is SQL in `sql/`. See DEVELOPERS.md for the tour.
"""

from importlib.metadata import PackageNotFoundError, version

try:
    __version__ = version("fleet-static")
except PackageNotFoundError:  # a checkout that was never installed
    __version__ = "0+unknown"
