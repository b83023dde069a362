"""Puts the repository's root on the import path, so that tests can say `from tests.printed import printed`."""

import sys
from pathlib import Path

ROOT = str(Path(__file__).parents[1])
if ROOT not in sys.path:
    sys.path.insert(0, ROOT)
