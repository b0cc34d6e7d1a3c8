"""`people` and the ways `dashboard` lets others in, from the command line."""

from __future__ import annotations

from pathlib import Path

import pytest
from workbench import Run

from dashboard import launch
from ledger.asking import Asker
from ledger.private import Private

PIN = "482913"


@pytest.fixture
def shop(lockring: Run) -> Run:
    """A shop with one mechanic."""
    assert lockring("init", "--shop", "quay", "--mechanic", "m1").code == 0
    return lockring


def test_people_are_entered_listed_and_removed(shop: Run) -> None:
    """With role, mechanic and email; the PIN is in nothing that is printed."""
    email = ("--email", "olga@quay.example")
    done = shop("people", "add", "olga", "--role", "owner", *email, typed=f"{PIN}\n")
    assert (done.code, PIN in done.out + done.err) == (0, False)
    mechanic = ("--role", "mechanic", "--mechanic", "m1")
    assert shop("people", "add", "ada", *mechanic, typed="573910\n").code == 0
    assert shop("people", "list", "--json").json == [
        {"name": "ada", "role": "mechanic", "mechanic": "m1", "email": None, "has_pin": True},
        {"name": "olga", "role": "owner", "mechanic": None, "email": "olga@quay.example",
         "has_pin": True},
    ]  # fmt: skip
    assert Private(Path("book")).person("ada").asker == Asker("mechanic", "m1")
    assert shop("people", "remove", "ada").code == 0
    assert [one["name"] for one in shop("people", "list", "--json").json] == ["olga"]


@pytest.mark.parametrize(
    ("words", "typed", "code", "said"),
    [
        (("add", "olga", "--role", "king"), PIN, 2, "owner, mechanic, desk"),
        (("add", "ada", "--role", "mechanic"), PIN, 2, "needs --mechanic"),
        (("add", "ada", "--role", "mechanic", "--mechanic", "m9"), PIN, 2, "Registered: m1"),
        (("add", "olga", "--role", "owner"), "123456", 1, "first that anybody tries"),
        (("add", "olga", "--role", "owner"), "", 1, "6 to 32 digits"),
        (("add", "olga", "--role", "owner", "--email", "quay"), PIN, 2, "is no address"),
        (("add", "olga", "--role", "owner", "--no-pin"), "", 2, "--no-pin needs --email"),
        (("pin", "nils"), PIN, 1, "Nobody called nils"),
        (("remove", "nils"), "", 1, "Nobody called nils"),
        (("sign-out", "nils"), "", 1, "Nobody called nils"),
    ],
)
def test_what_is_wrong_is_said_and_nobody_is_entered(
    shop: Run, words: tuple[str, ...], typed: str, code: int, said: str
) -> None:
    """Wrong use ends with 2, what the book refuses with 1; both say what would be right."""
    done = shop("people", *words, typed=f"{typed}\n")
    assert (done.code, said in done.err) == (code, True), done.err
    assert shop("people", "list", "--json").json == []


def test_a_pin_can_come_from_a_file(shop: Run, tmp_path: Path) -> None:
    """Its first line; it is never among the words of a command."""
    (tmp_path / "pin").write_text(f"{PIN}\nsomething else\n")
    options = ("--role", "owner", "--pin-file", str(tmp_path / "pin"))
    assert shop("people", "add", "olga", *options).code == 0
    assert Private(Path("book")).try_pin("olga", PIN, "here", 1e9).person is not None


@pytest.mark.parametrize("option", ["--lan", "--sign-in"])
def test_no_server_starts_while_no_owner_could_sign_in(shop: Run, option: str) -> None:
    """One line says what to do; somebody at the desk is not enough."""
    assert shop("people", "add", "dora", "--role", "desk", typed=f"{PIN}\n").code == 0
    done = shop("dashboard", option)
    assert done.code == 1
    assert "lockring people add NAME --role owner" in done.err


def test_half_a_certificate_and_names_without_a_network_are_wrong_use(shop: Run) -> None:
    """Each says what goes together."""
    Path("c.pem").write_text("x")
    assert "go together" in shop("dashboard", "--certificate", "c.pem").err
    assert shop("dashboard", "--certificate", "c.pem").code == 2
    assert "go with --lan" in shop("dashboard", "--host", "quay.local").err
    assert "is no file" in shop("dashboard", "--key", "nowhere.pem").err


def test_in_a_network_it_listens_everywhere_by_its_names_and_asks_who_it_is() -> None:
    """The command that serves holds all of it; here alone it holds none."""
    names = launch.own_names()
    reach = launch.Reach(launch.EVERYWHERE, True, ("quay.local", *names), Path("a"), Path("b"))
    words = launch.command("book", 8600, False, reach)
    assert "--server.address=0.0.0.0" in words
    assert "--gate.sign_in=true" in words
    assert f"--gate.hosts={','.join(('quay.local', *names))}" in words
    assert f"--server.sslCertFile={Path('a').resolve()}" in words
    assert not [one for one in launch.command("book", 8600, False) if "gate." in one]
