"""What holds for all tests.

Property tests run the same examples every time, and never fail on a busy machine's clock. The
commands are made from their functions once a process, as `lockring` itself does, and not again for
every command line that a test runs: making them takes longer than most of what they do. The tests
of a group run in one process, which makes once what they share.
"""

from functools import cache

import pytest
import typer.testing
from _pytest.nodeid import coerce_node_id
from hypothesis import settings

typer.testing._get_command = cache(typer.testing._get_command)

settings.register_profile("lockring", deadline=None, derandomize=True)
settings.load_profile("lockring")


@pytest.hookimpl(trylast=True)
def pytest_collection_modifyitems(items):
    """Let the name of a test end in its group, by which tests are handed out.

    pytest-xdist 3.8 puts it where pytest 9.2 no longer looks, and no group would be kept together.
    """
    for item in items:
        if named := vars(item).get("_nodeid"):
            item._id = coerce_node_id(named)


def pytest_terminal_summary(terminalreporter):
    """Print seeds, counts and invariants of the random histories that were run."""
    for done in terminalreporter.stats.get("passed", ()):
        for name, told in done.user_properties:
            if name == "histories":
                terminalreporter.write_line(told)
