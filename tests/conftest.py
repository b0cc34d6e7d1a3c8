"""Property tests run the same examples every time, and never fail on a busy machine's clock."""

from hypothesis import settings

settings.register_profile("lockring", deadline=None, derandomize=True)
settings.load_profile("lockring")


def pytest_terminal_summary(terminalreporter):
    """Print seeds, counts and invariants of the random histories that were run."""
    for done in terminalreporter.stats.get("passed", ()):
        for name, told in done.user_properties:
            if name == "histories":
                terminalreporter.write_line(told)
