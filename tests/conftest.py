"""Puts the repository's root on the import path, so that tests can say `from tests.printed import printed`.

Random inputs are the same in every run, and no example file is written. Where tests run in several processes, those
that share something dear stay together, so that it is made once.
"""

import sys
from pathlib import Path

import pytest
from hypothesis import settings

ROOT = str(Path(__file__).parents[1])
if ROOT not in sys.path:
    sys.path.insert(0, ROOT)

settings.register_profile("steady", derandomize=True, deadline=None, database=None)
settings.load_profile("steady")


@pytest.hookimpl(tryfirst=True)  # the processes read the groups when they have collected
def pytest_collection_modifyitems(config, items):
    """Keep the tests of one file together that share a fixture, and all that share one spreadsheet program."""
    if not config.pluginmanager.hasplugin("xdist"):
        return
    for item in items:
        fixtures = getattr(item, "_fixtureinfo", None)
        scopes = {name: found[-1].scope for name, found in fixtures.name2fixturedefs.items()} if fixtures else {}
        if "calc" in scopes:
            item.add_marker(pytest.mark.xdist_group("calc"))
        elif "module" in scopes.values():
            item.add_marker(pytest.mark.xdist_group(item.path.name))
