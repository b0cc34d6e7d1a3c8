"""What holds for all tests.

Property tests run the same examples every time, and never fail on a busy machine's clock. The
commands are made from their functions once a process, as `lockring` itself does, and not again for
every command line that a test runs: making them takes longer than most of what they do.
"""

from functools import cache

import typer.testing
from hypothesis import settings

typer.testing._get_command = cache(typer.testing._get_command)

settings.register_profile("lockring", deadline=None, derandomize=True)
settings.load_profile("lockring")


def pytest_terminal_summary(terminalreporter):
    """Print seeds, counts and invariants of the random histories that were run."""
    for done in terminalreporter.stats.get("passed", ()):
        for name, told in done.user_properties:
            if name == "histories":
                terminalreporter.write_line(told)
