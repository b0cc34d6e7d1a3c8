"""`states`: every bike at once is what `state` says of each."""

from __future__ import annotations

import pytest
from workbench import TAG, Run

import ledger.kept

OTHER = "8M4N0RYB"
HALF = ("--as-at", "2026-02-01")


@pytest.fixture
def two_bikes(shop: Run) -> Run:
    """Two bikes, the second of them only from March on."""
    for kind, tag, at, *more in (
        ("part_fitted", TAG, "2026-01-05 10:00", "--position", "chain", "--set", "part=c1"),
        ("distance_read", TAG, "2026-01-05 10:01", "--value", "100 km"),
        ("bike_registered", OTHER, "2026-03-01 10:00"),
        ("job_opened", OTHER, "2026-03-01 10:01", "--job", "J9", "--set", "complaint=it ticks"),
    ):
        done = shop("record", kind, "--bike", tag, "--at", at, *more)
        assert done.code == 0, done.err
    return shop


def alone(shop: Run, tags: tuple[str, ...], *asked: str) -> list[object]:
    return [shop("state", tag, *asked, "--json").json for tag in tags]


@pytest.mark.parametrize("fewest", [0, 10**9])
def test_every_bike_is_what_state_says_of_it(
    two_bikes: Run, monkeypatch: pytest.MonkeyPatch, fewest: int
) -> None:
    """Kept or not, asked again, after a late entry and a strike, as at and as known before."""
    monkeypatch.setattr(ledger.kept, "FEWEST_EVENTS", fewest)
    now = ("--as-at", "2026-03-02")
    for _ in range(2):
        assert two_bikes("states", *HALF, "--json").json == alone(two_bikes, (TAG,), *HALF)
        assert two_bikes("states", *now, "--json").json == alone(two_bikes, (TAG, OTHER), *now)
    before = two_bikes("state", TAG, *HALF, "--json").json
    late = two_bikes("record", "part_fitted", "--bike", TAG, "--at", "2026-01-07 10:00",
                     "--position", "saddle", "--set", "part=s1", "--json").json  # fmt: skip
    assert two_bikes("states", *HALF, "--json").json == alone(two_bikes, (TAG,), *HALF)
    known = (*HALF, "--as-known", str(before["as_known"]))
    assert two_bikes("states", *known, "--json").json == [before]
    struck = two_bikes("strike", late["events"][0]["id"], "--reason", "another bike's")
    assert struck.code == 0, struck.err
    found = two_bikes("states", *HALF, "--json").json
    assert found == alone(two_bikes, (TAG,), *HALF)
    assert found[0]["fitted"] == before["fitted"]


def test_people_read_a_line_a_bike(two_bikes: Run) -> None:
    """Km, parts, and what is open."""
    lines = two_bikes("states", "--as-at", "2026-03-02").out.splitlines()
    assert [line.split() for line in lines if line.startswith((TAG, OTHER))] == [
        [TAG, "100", "1", "0", "0", "0", "0", "3"],
        [OTHER, "0", "0", "0", "0", "1", "2"],
    ]


def test_before_anything_was_recorded(two_bikes: Run) -> None:
    """Said in a sentence; an empty array for programs."""
    asked = ("states", "--as-at", "2025-12-31")
    assert two_bikes(*asked).out == "Nothing was recorded of any bike by then.\n"
    assert two_bikes(*asked, "--json").json == []
    assert two_bikes("states", "--as-at", "soon").code == 2
