"""`python -m pipeline.catalog` writes the data dictionary page to standard output."""

import sys

from pipeline.catalog.page import page
from pipeline.publish import PUBLISHED

sys.stdout.write(page(PUBLISHED))
