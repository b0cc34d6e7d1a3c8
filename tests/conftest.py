"""Property tests run the same examples every time, and never fail on a busy machine's clock."""

from hypothesis import settings

settings.register_profile("lockring", deadline=None, derandomize=True)
settings.load_profile("lockring")
