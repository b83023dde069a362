"""Puts the repository's root on the import path, so that tests can say `from tests.printed import printed`.

Random inputs are the same in every run, and no example file is written.
"""

import sys
from pathlib import Path

from hypothesis import settings

ROOT = str(Path(__file__).parents[1])
if ROOT not in sys.path:
    sys.path.insert(0, ROOT)

settings.register_profile("steady", derandomize=True, deadline=None, database=None)
settings.load_profile("steady")
