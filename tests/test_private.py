"""Who may sign in: PINs, tries, sign-ins and their ends, kept beside the book."""

from __future__ import annotations

import sqlite3
import stat
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest

from ledger.private import (
    FREE_TRIES,
    FREE_TRIES_ADDRESS,
    IDLE_S,
    LASTS_S,
    LONGEST_WAIT_S,
    Person,
    PersonExists,
    PoorPin,
    Private,
    UnknownPerson,
    check_pin,
)

NOW = 1_800_000_000.0
PIN, WRONG = "482913", "918273"
HERE = "192.0.2.7"


@pytest.fixture
def private(tmp_path: Path) -> Private:
    """A book's people: an owner with a PIN."""
    made = Private(tmp_path)
    made.add(Person("olga", "owner", email="Olga@quay.example"), PIN)
    return made


def test_the_file_is_its_owners_alone(private: Private) -> None:
    """Nobody else on the machine reads or writes it, whatever the umask."""
    assert stat.S_IMODE(private.path.stat().st_mode) == 0o600


def test_nothing_in_the_file_signs_anybody_in(private: Private) -> None:
    """Neither the PIN nor a token stands in it."""
    token = private.begin("olga", NOW)
    raw = private.path.read_bytes()
    assert PIN.encode() not in raw
    assert token.encode() not in raw
    assert b"$argon2id$" in raw


@pytest.mark.parametrize(
    "pin",
    ["", "12345", "000000", "111111", "123456", "654321", "012345", "987654", "890123", "121212",
     "123123", "4829l3", "48 2913", "٤٨٢٩١٣", "4" * 33],
)  # fmt: skip
def test_a_pin_that_is_guessed_first_is_refused(private: Private, pin: str) -> None:
    """Too short, one digit, in a row up or down, a pattern repeated, or not of digits."""
    with pytest.raises(PoorPin):
        private.add(Person("nils", "desk"), pin)
    assert [one.person for one in private.people()] == ["olga"]


def test_few_pins_are_refused() -> None:
    """Of a million with six digits 1,110 are: 100 repeat two digits, 1,000 three, 10 of them both,
    and 20 go up or down by one, round the end.
    """
    refused = 0
    for number in range(10**6):
        try:
            check_pin(f"{number:06}")
        except PoorPin:
            refused += 1
    assert refused == 100 + 1000 - 10 + 20


def test_a_name_or_an_email_is_one_persons(private: Private) -> None:
    """A second of either is refused; an email is found however it is written."""
    with pytest.raises(PersonExists):
        private.add(Person("olga", "desk"), WRONG)
    with pytest.raises(PersonExists):
        private.add(Person("nils", "desk", email="OLGA@quay.example"), WRONG)
    assert private.by_email("olga@QUAY.example") == private.person("olga")
    assert private.by_email("nobody@quay.example") is None
    with pytest.raises(UnknownPerson):
        private.remove("nils")


def test_a_right_pin_signs_in_until_it_ends(private: Private) -> None:
    """After two hours without use, after twelve in all, when it is ended, or with its person."""
    assert private.try_pin("olga", PIN, HERE, NOW).person == private.person("olga")
    token = private.begin("olga", NOW)
    assert private.signed_in(token, NOW + IDLE_S - 1) is not None
    assert private.signed_in(token, NOW + IDLE_S) is None
    used = [private.signed_in(token, NOW + hour * 3600, is_used=True) for hour in range(1, 12)]
    assert None not in used
    assert private.signed_in(token, NOW + LASTS_S + 1) is None
    other = private.begin("olga", NOW)
    private.end(other)
    assert private.signed_in(other, NOW) is None
    third = private.begin("olga", NOW)
    private.set_pin("olga", "573910")
    assert private.signed_in(third, NOW) is None
    assert private.try_pin("olga", PIN, HERE, NOW).person is None


def test_a_removed_person_is_signed_out(private: Private) -> None:
    """Their open sign-ins end with them."""
    private.add(Person("ada", "mechanic", "m1"), "573910")
    token = private.begin("ada", NOW)
    private.remove("ada")
    assert private.signed_in(token, NOW) is None
    assert private.try_pin("ada", "573910", HERE, NOW).person is None


def test_wrong_tries_make_one_wait_twice_as_long_each_time(private: Private) -> None:
    """Up to an hour; the right PIN is refused meanwhile, in another process too, and clears it."""
    waits, now = [], NOW
    for _ in range(FREE_TRIES + 9):
        tried = private.try_pin("olga", WRONG, f"192.0.2.{len(waits)}", now)
        waits.append(tried.wait_s)
        now += tried.wait_s
    free = FREE_TRIES - 1
    assert waits[:free] == [0.0] * free
    assert waits[free : free + 7] == [30, 60, 120, 240, 480, 960, 1920]
    assert waits[-1] == LONGEST_WAIT_S
    again = Private(private.path.parent)
    assert again.try_pin("olga", PIN, HERE, now - 1).person is None
    assert again.try_pin("olga", PIN, HERE, now).person is not None
    assert again.try_pin("olga", WRONG, HERE, now).wait_s == 0


def test_an_address_that_tries_many_names_waits_too(private: Private) -> None:
    """People who are not there count as well; another address is free."""
    waits = [
        private.try_pin(f"name-{number}", WRONG, HERE, NOW + 7200 * number).wait_s
        for number in range(FREE_TRIES_ADDRESS)
    ]
    assert waits[0] == 0
    assert waits[-1] > 0
    later = NOW + 7200 * (FREE_TRIES_ADDRESS - 1)
    assert private.try_pin("olga", PIN, HERE, later).person is None
    assert private.try_pin("olga", PIN, "192.0.2.99", later).person is not None


def test_many_tries_at_once_are_no_way_round_the_limit(private: Private) -> None:
    """Each is counted before it is looked at."""
    with ThreadPoolExecutor(8) as crowd:
        tries = [crowd.submit(private.try_pin, "olga", WRONG, HERE, NOW) for _ in range(16)]
    assert sum(one.result().person is not None for one in tries) == 0
    with sqlite3.connect(private.path) as connection:
        (count,) = connection.execute("select count from tries where who like 'person%'").fetchone()
    assert count == FREE_TRIES


def test_each_book_has_its_own_key(tmp_path: Path, private: Private) -> None:
    """The same at every asking, and another in another book."""
    (tmp_path / "other").mkdir()
    assert private.secret("cookies") == private.secret("cookies")
    assert private.secret("cookies") != Private(tmp_path / "other").secret("cookies")
    assert len(private.secret("cookies")) == 32
