from __future__ import annotations

import pikepdf
import pytest
from workbench import TAG, Run

from ledger.events.types import TAG_ALPHABET


def test_the_tag_of_a_bike_is_printed(shop: Run) -> None:
    """A tag typed in small letters with a dash is the bike's; one sheet is written."""
    done = shop("tags", "7k3m-9qxa", "--out", "tags.pdf")
    assert (done.code, done.err) == (0, "")
    assert done.out == "Wrote 1 label 3x8 (70 x 36 mm) to tags.pdf.\n"
    assert len(pikepdf.open("tags.pdf").pages) == 1


def test_new_tags_are_nobodys_yet(shop: Run) -> None:
    """Thirty new tags differ from one another and from the bike's, and nothing is recorded."""
    before = shop("bikes", "--json").json
    done = shop("tags", TAG, "--new", "30", "--out", "tags.pdf", "--json")
    tags = done.json["tags"]
    assert tags[0] == TAG and len(set(tags)) == len(tags) == 31
    assert all(len(tag) == 8 and set(tag) <= set(TAG_ALPHABET) for tag in tags)
    assert len(pikepdf.open("tags.pdf").pages) == 2
    assert shop("bikes", "--json").json == before


def test_a_link_names_the_bench(shop: Run) -> None:
    """With an address, codes are links to it."""
    address = ("--address", "https://bench.example/", "--sheet", "2x7", "--lines")
    done = shop("tags", TAG, *address, "--out", "tags.pdf", "--json")
    assert done.json["address"] == "https://bench.example"


@pytest.mark.parametrize(
    ("arguments", "code", "said"),
    [
        ((), 2, "--new 24"),
        ((TAG, "--sheet", "9x9"), 1, "3x8 (70 x 36 mm)"),
        ((TAG, "--first", "25"), 1, "1 to 24"),
        ((TAG, "--address", "bench"), 1, "https://bench.example"),
        ((TAG, "--address", "https://bench.example:99999"), 1, "1 to 65535"),
        ((TAG, "--address", "http://[::1"), 1, "https://bench.example"),
        ((TAG, "--sheet", "5x13", "--address", "https://bench.example"), 1, "0.44 mm"),
        (("7K3M9QXB",), 1, TAG),
        (("--new", "100000"), 2, "2000"),
    ],
)
def test_wrong_use_says_what_would_be_right(
    shop: Run, arguments: tuple[str, ...], code: int, said: str
) -> None:
    """Nothing asked for, an unknown sheet, a label off it, a bad address, too fine, no bike."""
    done = shop("tags", *arguments, "--out", "tags.pdf")
    assert done.code == code, done.err
    assert said in done.err
