"""Tests of a group stay together where several processes share the tests."""

from __future__ import annotations

import pytest


@pytest.mark.xdist_group("together")
@pytest.mark.parametrize("number", range(4))
def test_the_name_of_a_test_ends_in_its_group(request: pytest.FixtureRequest, number: int) -> None:
    """By it they are handed out: without it each process would make what a group shares."""
    is_by_group = getattr(request.config.option, "loadgroup", False)
    ends = f"[{number}]@together" if is_by_group else f"[{number}]"
    assert request.node.nodeid.endswith(ends)
