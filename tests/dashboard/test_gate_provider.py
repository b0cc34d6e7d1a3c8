"""Signing in through a provider: a real one on this machine, and the server's own flow."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

import httpx
import pytest
from paid_book import paid_book
from raw_client import Server, enter_people, free_port, served
from small_provider import Provider, provided

from dashboard import launch
from ledger.private import Person, Private


@pytest.fixture(scope="module")
def both(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Server, Provider]]:
    """A server that knows a provider, and the provider; Per has an email alone."""
    folder = tmp_path_factory.mktemp("provided")
    paid_book(folder / "book")
    enter_people(folder / "book")
    Private(folder / "book").add(Person("per", "desk", email="per@quay.example"), None)
    port = free_port()
    with provided() as provider:
        (folder / ".streamlit").mkdir()
        (folder / ".streamlit/secrets.toml").write_text(provider.secrets_for(port))
        reach = launch.Reach(is_sign_in=True)
        with served(folder / "book", folder, reach, port) as server:
            yield server, provider


@contextmanager
def signed_in_by(
    both: tuple[Server, Provider], **claims: object
) -> Iterator[tuple[httpx.Client, int]]:
    """Go the whole way, as a browser does; gives it, and the last answer's status."""
    server, provider = both
    provider.claims = claims
    with httpx.Client(base_url=server.origin, follow_redirects=True, timeout=60) as browser:
        yield browser, browser.get("/sign-in/provider?name=default").status_code


def test_an_email_that_is_known_signs_its_person_in(both: tuple[Server, Provider]) -> None:
    """With the gate's own cookie, none of the server's; signing out ends it here."""
    server, _ = both
    with signed_in_by(both, email="Per@quay.example", email_verified=True) as (browser, status):
        assert status == 200
        names = {cookie.name for cookie in browser.cookies.jar}
        assert f"lockring_{server.port}" in names
        assert not [name for name in names if name.startswith("_streamlit_user")]
        cookie = f"lockring_{server.port}={browser.cookies[f'lockring_{server.port}']}"
        with server.stream(cookie) as line:
            assert "per, desk" in server.page(line, "")
        browser.get("/sign-out")
        assert server.ask("/", Cookie=cookie).status == 401


@pytest.mark.parametrize(
    "claims",
    [{"email": "stranger@quay.example"}, {}, {"email": "per@quay.example", "email_verified": False},
     {"email": ["per@quay.example"]}],
)  # fmt: skip
def test_whoever_is_not_known_is_refused(
    both: tuple[Server, Provider], claims: dict[str, object]
) -> None:
    """Another email, none, one the provider has not verified: no cookie of the gate's."""
    server, _ = both
    with signed_in_by(both, **claims) as (browser, status):
        assert status == 403
        assert f"lockring_{server.port}" not in browser.cookies


def test_a_call_back_nobody_asked_for_signs_nobody_in(both: tuple[Server, Provider]) -> None:
    """Without the state it was begun with there is no sign-in; by a foreign name, no answer."""
    server, _ = both
    found = server.ask("/oauth2callback?code=x&state=y")
    assert (found.status, [one for one in found.set_cookie if "lockring" in one]) == (403, [])
    assert server.ask("/oauth2callback?code=x&state=y", Host="evil.example").status == 421


def test_the_form_offers_the_provider_beside_the_pin(both: tuple[Server, Provider]) -> None:
    """Both ways stand on one page."""
    body = both[0].ask("/sign-in").body
    assert "Sign in with your account" in body
    assert 'name="pin"' in body
    assert "per</option>" not in body
