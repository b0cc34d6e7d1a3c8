"""The gate before a running server: what passes, spoken to without a browser."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path
from urllib.parse import quote

import pytest
from itsdangerous import URLSafeTimedSerializer
from paid_book import paid_book
from raw_client import PEOPLE, Server, enter_people, served
from websockets.exceptions import ConnectionClosed, InvalidStatus

from dashboard.launch import Reach
from ledger.private import Private

pytestmark = pytest.mark.xdist_group("gate")
HTML = {"Accept": "text/html"}


@pytest.fixture(scope="module")
def server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Server]:
    """A server over a book of paid jobs, with sign-in."""
    folder = tmp_path_factory.mktemp("gate")
    paid_book(folder / "book")
    enter_people(folder / "book")
    with served(folder / "book", folder, Reach(is_sign_in=True, hosts=("quay.local",))) as found:
        yield found
    log = (folder / "server.log").read_text()
    assert not any(name in log for name in ("olga", "dora", "482913", "lockring_"))


@pytest.fixture(scope="module")
def cookies(server: Server) -> dict[str, str]:
    """Everybody's cookie."""
    return {name: server.sign_in(name).cookie for name in PEOPLE}


# -- before sign-in -------------------------------------------------------------------------------


def test_a_page_asked_for_without_a_sign_in_leads_to_the_form_and_back(server: Server) -> None:
    """The address is kept, so that whoever signs in lands where they wanted to be."""
    found = server.ask("/bike?tag=7K3M9Q00", **HTML)
    assert (found.status, found.headers["location"]) == (
        303, "/sign-in?next=%2Fbike%3Ftag%3D7K3M9Q00")  # fmt: skip
    assert 'value="/bike?tag=7K3M9Q00"' in server.ask(found.headers["location"]).body


@pytest.mark.parametrize(
    "path",
    ["/", "/bike", "/media/x.csv", "/_stcore/host-config", "/_stcore/upload_file/a/b",
     "/static/js/x.js", "/_stcore/stream", "/sign-in/", "/SIGN-IN",
     "/sign-in.css/", "/auth/login", "/oauth2callback",
     "/component/x", "/sign-in/provider", "/sign-out"],
)  # fmt: skip
@pytest.mark.parametrize("method", ["GET", "HEAD", "OPTIONS", "PUT", "DELETE", "POST"])
def test_nothing_but_the_form_is_answered_without_a_sign_in(
    server: Server, path: str, method: str
) -> None:
    """Whatever is asked, and however, is refused before the app sees it."""
    found = server.ask(path, method, Origin=server.origin)
    assert found.status == 401
    assert found.body in ("Sign in first.", "")


@pytest.mark.parametrize(
    "path",
    ["//sign-in/../bike", "/sign-in/../media/x", "/%2e%2e/media/x", "/sign-in%2f..%2fbike",
     "//bike", "/sign-in/./x", "/sign-in%00",
     "/sign-in\\..\\bike", "/_stcore/health/../../media/x",
     "/sign-in;x", "/_stcore/agent/interact", "/_stcore/metrics"],
)  # fmt: skip
def test_a_path_that_could_be_read_in_two_ways_is_no_page(server: Server, path: str) -> None:
    """Dots, doubled slashes and escapes are refused before they are compared with anything."""
    assert server.ask(path, **HTML).status in (400, 404)


@pytest.mark.parametrize(
    "host",
    ["evil.example", "127.0.0.1.evil.example", "localhost.evil.example", "127.0.0.1@evil.example",
     "quay.local.evil.example", "2130706433", "", "127.0.0.2", "[::2]", "quay.local:80:80"],
)  # fmt: skip
def test_a_foreign_host_is_refused(server: Server, host: str) -> None:
    """A name that was pointed at this machine from elsewhere reaches nothing, not even the form."""
    for path in ("/sign-in", "/", "/_stcore/health"):
        assert server.ask(path, Host=host).status in (400, 421)


def test_the_names_it_goes_by_are_answered(server: Server) -> None:
    """Case and the dot of a whole name make no difference."""
    for host in (f"localhost:{server.port}", "QUAY.local", "quay.local.", "[::1]"):
        assert server.ask("/sign-in", Host=host).status == 200


@pytest.mark.parametrize("origin", ["https://evil.example", "null", "http://127.0.0.1:1", ""])
def test_a_form_sent_from_another_site_signs_nobody_in(server: Server, origin: str) -> None:
    """Another site can neither sign somebody in nor be of another port or scheme."""
    found = server.sign_in("ada", Origin=origin)
    assert (found.status, found.set_cookie) == (403, [])


def test_every_answer_says_what_a_browser_may_do(server: Server) -> None:
    """Refusals and pages alike: no frame, no guessing of types, no script from elsewhere."""
    for path in ("/sign-in", "/bike", "/_stcore/health", "/nowhere%20"):
        headers = server.ask(path).headers
        policy = headers["content-security-policy"]
        assert "frame-ancestors 'none'" in policy
        scripts = policy.split("script-src")[1].split(";")[0]
        assert "'unsafe-inline'" not in scripts
        assert "'unsafe-eval'" not in scripts
        assert headers["x-content-type-options"] == "nosniff"
        assert headers["referrer-policy"] == "same-origin"


# -- signing in -----------------------------------------------------------------------------------


def test_the_form_signs_in_with_a_cookie_no_script_can_read(server: Server) -> None:
    """It goes to this server alone, from its own pages alone, for twelve hours."""
    found = server.sign_in("dora")
    (cookie,) = found.set_cookie
    assert (found.status, found.headers["location"]) == (303, "/")
    assert {"HttpOnly", "SameSite=strict", "Path=/", "Max-Age=43200"} <= set(cookie.split("; "))
    assert server.ask("/", Cookie=found.cookie, **HTML).status == 200


@pytest.mark.parametrize(
    "onto", ["https://evil.example", "//evil.example", "/\\evil.example", "javascript:x", "/a\nb"]
)
def test_signing_in_leads_to_this_server_alone(server: Server, onto: str) -> None:
    """Where to go after is a path of this server, else its first page."""
    assert 'name="next" value="/"' in server.ask(f"/sign-in?next={_quoted(onto)}").body


def test_a_wrong_pin_and_a_person_who_is_not_there_are_told_alike(server: Server) -> None:
    """Nobody learns from the answer who may sign in."""
    wrong, nobody = server.sign_in("dora", "918273"), server.sign_in("nemo", "918273")
    assert (wrong.status, wrong.set_cookie) == (nobody.status, nobody.set_cookie) == (401, [])
    assert "do not go together" in wrong.body
    assert wrong.body.replace(" selected", "") == nobody.body.replace(" selected", "")


def test_forged_cookies_are_worth_nothing(server: Server, cookies: dict[str, str]) -> None:
    """Any other sign of it, another key, another book's, an old one: all lead to the form."""
    name, value = cookies["olga"].split("=", 1)
    forged = [value[:place] + ("A" if value[place] != "A" else "B") + value[place + 1 :]
              for place in range(len(value) - 1)]  # fmt: skip
    own = Private(server.book)
    token = _signer(own.secret("cookies")).loads(value)
    forged += [str(_signer(b"another book's key").dumps(token)), token, "", f"{value}{value}"]
    forged += [str(_signer(own.secret("cookies")).dumps("a token nobody was given"))]
    passed = [one for one in forged if server.ask("/", Cookie=f"{name}={one}").status != 401]
    assert passed == []


def test_a_sign_in_that_ended_is_refused_again_and_again(server: Server) -> None:
    """Signing out ends it on the server: a copy of the cookie is worth nothing after."""
    cookie = server.sign_in("dora").cookie
    assert server.ask("/", Cookie=cookie).status == 200
    assert server.ask("/sign-out", Cookie=cookie, Sec_Fetch_Site="cross-site").status == 303
    assert server.ask("/", Cookie=cookie).status == 200
    assert "Signed out" in server.ask("/sign-out", Cookie=cookie).body
    assert server.ask("/", Cookie=cookie).status == 401
    with pytest.raises(InvalidStatus):
        server.stream(cookie)


# -- websockets -----------------------------------------------------------------------------------


@pytest.mark.parametrize("origin", ["https://evil.example", None, "null"])
def test_a_websocket_from_another_site_is_refused(
    server: Server, cookies: dict[str, str], origin: str | None
) -> None:
    """Even with the owner's cookie."""
    with pytest.raises(InvalidStatus, match="403"):
        server.stream(cookies["olga"], origin)


def test_a_websocket_without_a_sign_in_or_by_a_foreign_name_is_refused(
    server: Server, cookies: dict[str, str]
) -> None:
    """No cookie, a forged one, or a name this server does not go by."""
    for cookie, host in (("", ""), (cookies["olga"][:-2], ""), (cookies["olga"], "evil.example")):
        with pytest.raises(InvalidStatus, match="403"):
            server.stream(cookie, host=host)


def test_a_mechanic_asking_for_the_owners_pages_gets_none_of_their_figures(
    server: Server, cookies: dict[str, str]
) -> None:
    """The owner is shown the margin on the same server first; a mechanic that it is not theirs."""
    with server.stream(cookies["olga"]) as line:
        owner = server.page(line, "earnings", since="2025-04-01", until="2025-06-30")
    assert "Not shown to you" not in owner
    with server.stream(cookies["ada"]) as line:
        ada = server.page(line, "earnings", since="2025-04-01", until="2025-06-30")
        again = server.page(line, "time", job="service-3")
    figures = set(re.findall(r"€[\d,]+\.\d\d", owner))
    assert figures
    assert "is not shown to the mechanic" in ada
    assert not [one for one in figures if one in ada + again]


def test_an_open_page_gets_nothing_more_after_signing_out(server: Server) -> None:
    """A websocket left open ends with the sign-in it was opened with."""
    cookie = server.sign_in("olga").cookie
    with server.stream(cookie) as line:
        assert "olga" in server.page(line, "")
        server.ask("/sign-out", Cookie=cookie)
        with pytest.raises(ConnectionClosed):
            server.page(line, "earnings")


def test_another_persons_session_is_not_taken_up_again(
    server: Server, cookies: dict[str, str]
) -> None:
    """A session's name sent by somebody else opens one of their own; by its own, the same."""
    with server.stream(cookies["olga"]) as line:
        session = _session_of(server.page(line, "earnings"))
    with server.stream(cookies["ada"], session=session) as line:
        assert _session_of(server.page(line, "")) != session
    with server.stream(cookies["olga"], session=session) as line:
        assert _session_of(server.page(line, "")) == session


# -- files ----------------------------------------------------------------------------------------


def test_a_file_is_handed_to_whoever_it_was_made_for_alone(
    server: Server, cookies: dict[str, str]
) -> None:
    """The owner's sheet is made for the owner, and by its address theirs alone.

    A mechanic who learned the name it is offered under is not even answered.
    """
    with server.stream(cookies["olga"]) as line, server.stream(cookies["ada"]) as other:
        page = server.page(line, "earnings", since="2025-04-01", until="2025-06-30")
        offered = re.findall(r'deferred_file_id: "([0-9a-f]+)"', page)
        assert offered
        session = _session_of(server.page(other, ""))
        server.ask_file(other, session, offered[0])
        assert "backend_operation_response" not in server.heard(other)
        server.ask_file(line, _session_of(page), offered[0])
        (file,) = re.findall(r'url: "(/media/[^"]+)"', server.answer(line))
        sheet = server.ask(file, Cookie=cookies["olga"])
        assert sheet.status == 200
        assert sheet.headers["cache-control"] == "no-store"
        for method in ("GET", "HEAD"):
            assert server.ask(file, method, Cookie=cookies["ada"]).status == 404
        assert server.ask(file).status == 401


def test_what_no_page_sends_is_dropped(server: Server, cookies: dict[str, str]) -> None:
    """Emptying everybody's caches, installing things: not by a message."""
    with server.stream(cookies["ada"]) as line:
        session = _session_of(server.page(line, ""))
        for message in server.odd_messages(session):
            line.send(message)
        heard = server.heard(line)
        assert not {"backend_operation_response", "git_info_changed"} & set(heard)


def test_nothing_is_uploaded_into_another_persons_page(
    server: Server, cookies: dict[str, str]
) -> None:
    """The session must be of whoever sends."""
    with server.stream(cookies["olga"]) as line:
        session = _session_of(server.page(line, ""))
        path = f"/_stcore/upload_file/{session}/f1"
        sent = {"Cookie": cookies["ada"], "Origin": server.origin}
        for method in ("PUT", "DELETE"):
            found = server.ask(path, method, **sent)
            assert (found.status, found.body) == (403, "That is not your page.")
        own = server.ask(path, "PUT", **(sent | {"Cookie": cookies["olga"]}))
        assert "not your page" not in own.body


# -- too many tries -------------------------------------------------------------------------------


def test_too_many_wrong_pins_lock_a_person_out_for_a_while(tmp_path: Path) -> None:
    """Then the right PIN is refused too; others sign in."""
    paid_book(tmp_path / "book")
    enter_people(tmp_path / "book")
    with served(tmp_path / "book", tmp_path, Reach(is_sign_in=True)) as one:
        statuses = [one.sign_in("ada", "918273").status for _ in range(6)]
        assert statuses == [401] * 4 + [429] * 2
        locked = one.sign_in("ada")
        assert (locked.status, locked.set_cookie) == (429, [])
        assert "nothing is looked at, right or wrong" in locked.body
        assert "do not go together" not in locked.body
        assert 0 < int(locked.headers["retry-after"]) <= 30
        assert one.sign_in("dora").status == 303


def _signer(key: bytes) -> URLSafeTimedSerializer:
    return URLSafeTimedSerializer(key, salt="lockring sign-in")


def _session_of(sent: str) -> str:
    found = re.search(r'session_id: "([0-9a-f-]+)"', sent)
    assert found, sent[:500]
    return found[1]


def _quoted(text: str) -> str:
    return quote(text, safe="")
