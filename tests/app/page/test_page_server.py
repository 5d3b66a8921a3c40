"""The page's server against requests of all kinds: who gets in, what is refused and bounded."""

from __future__ import annotations

import asyncio
import http.client
import json
import logging
import socket
import time
from collections.abc import Iterator
from contextlib import suppress
from typing import Any

import pytest

from app.page import page_server
from app.page.access import ACTS, FREE_TRIES
from app.page.page_server import COOKIE, FILES, LARGEST_BODY
from engine.model.commands import Acknowledge, Attend
from engine.model.crew_notes import Stage
from tests.support.page_night import PageNight, page_night
from tests.support.qt import fake_client

PLAN = fake_client.tower_plan()


@pytest.fixture
def night() -> Iterator[PageNight]:
    """A page of the tower's alarms; commands are noted and change nothing."""
    crew = fake_client.Crew(PLAN, fake_client.tower_alarms())
    crew._heed = lambda command: crew.heeded.append(command)  # type: ignore[method-assign]
    crew.heeded = []  # type: ignore[attr-defined]
    with page_night(crew) as running:
        yield running


class Browser:
    """A client that says exactly what the test wants."""

    def __init__(self, night: PageNight) -> None:
        self.origin = night.server.origin
        self.own = self.origin.partition("://")[2]
        self.host, _, port = self.own.rpartition(":")
        self.port = int(port)
        self.cookie = ""

    def ask(
        self, method: str, path: str, body: Any = None, **headers: str
    ) -> tuple[int, dict[str, str], bytes]:
        """One request; a header given as "" is left out."""
        raw = json.dumps(body).encode() if not isinstance(body, bytes) else body
        said = {"Host": self.own, "Origin": self.origin, "Content-Type": "application/json"}
        said |= {"Cookie": self.cookie} | {k.replace("_", "-"): v for k, v in headers.items()}
        connection = http.client.HTTPConnection(self.host, self.port, timeout=5)
        connection.putrequest(method, path, skip_host=True, skip_accept_encoding=True)
        for name, value in said.items():
            if value:
                connection.putheader(name, value)
        connection.putheader("Content-Length", str(len(raw) if body is not None else 0))
        connection.endheaders(raw if body is not None else None)
        answer = connection.getresponse()
        if answer.getheader("Content-Type", "").startswith("text/event-stream"):
            found = answer.status, dict(answer.getheaders()), answer.readline()
        else:
            found = answer.status, dict(answer.getheaders()), answer.read()
        connection.close()
        return found

    def enter(self, code: str) -> int:
        """Give a code and keep the cookie."""
        status, headers, _ = self.ask("POST", "/enter", {"code": code})
        self.cookie = headers.get("Set-Cookie", "").partition(";")[0]
        return status


@pytest.fixture
def stranger(night: PageNight) -> Browser:
    """Somebody on the same network without the code."""
    return Browser(night)


@pytest.fixture
def phone(night: PageNight) -> Browser:
    """A phone with the code."""
    made = Browser(night)
    assert made.enter(night.server.access.code) == 204
    return made


def test_the_shell_says_nothing_of_the_watch(stranger: Browser) -> None:
    """Who has no code gets files that are the same for everybody, and nothing else."""
    for path in FILES:
        status, headers, body = stranger.ask("GET", path)
        assert status == 200
        assert b"Raising" not in body
        assert "Set-Cookie" not in headers
    assert stranger.ask("GET", "/news")[0] == 403
    assert stranger.ask("POST", "/act", {"ids": [1], "what": "way", "name": "x"})[0] == 403
    for path in ("/page.json", "/static/index.html", "/../page_server.py", "/%2e%2e/feed.py"):
        assert stranger.ask("GET", path)[0] == 404
    assert stranger.ask("PUT", "/")[0] == 405


def test_a_phone_with_the_code_hears_everything(phone: Browser) -> None:
    """The first event has the whole document."""
    status, headers, line = phone.ask("GET", "/news")
    assert (status, headers["Content-Type"]) == (200, "text/event-stream")
    assert headers["Cache-Control"] == "no-store"
    full = json.loads(line.removeprefix(b"data:"))["full"]
    assert len(full["cards"]) == 3


def test_what_raises_in_the_page_costs_a_few_seconds_of_news(
    night: PageNight, phone: Browser, capsys: pytest.CaptureFixture[str]
) -> None:
    """The page goes on by itself; phones that listened get all of it anew."""
    queue: asyncio.Queue[str | None] = asyncio.Queue(100)
    own = night.server.access.phones[0]
    night.call(lambda: night.server._queues.update({queue: own}))
    step = night.server.feed.step
    failures: list[None] = []

    def fails() -> str | None:
        failures.append(None)
        raise ZeroDivisionError("made to fail")

    night.server.feed.step = fails  # type: ignore[method-assign]
    _until(lambda: len(failures) > 3)
    night.call(lambda: [queue.get_nowait() for _ in range(queue.qsize())])
    night.server.feed.step = step  # type: ignore[method-assign]
    _until(lambda: queue.qsize() > 0)
    assert "full" in json.loads(night.call(queue.get_nowait) or "")
    assert capsys.readouterr().err.count("ZeroDivisionError: made to fail") == 1
    night.call(lambda: night.server._queues.pop(queue))
    assert phone.ask("GET", "/news")[0] == 200


def test_the_cookie_is_for_this_page_alone(night: PageNight, stranger: Browser) -> None:
    """Out of reach of scripts and of other sites (RFC 6265bis), and not the code itself."""
    code = night.server.access.code
    _, headers, _ = stranger.ask("POST", "/enter", {"code": code})
    cookie = headers["Set-Cookie"]
    assert cookie.startswith(f"{COOKIE}=")
    assert "HttpOnly" in cookie
    assert "SameSite=Strict" in cookie
    assert code not in cookie


def test_answers_forbid_foreign_content(stranger: Browser) -> None:
    """CSP level 3: scripts, styles and connections of this page alone; no frames, no inline."""
    for path in ("/", "/nothing", "/news"):
        policy = stranger.ask("GET", path)[1]["Content-Security-Policy"]
        assert "default-src 'none'" in policy
        assert "script-src 'self'" in policy
        assert "frame-ancestors 'none'" in policy
        assert "unsafe" not in policy
    shell = stranger.ask("GET", "/")[2].decode()
    assert "<script>" not in shell
    assert "style=" not in shell
    assert "http://" not in shell
    assert "https://" not in shell


@pytest.mark.parametrize("host", ["evil.example", "localhost", "127.0.0.1", ""])
def test_another_host_name_is_refused(phone: Browser, host: str) -> None:
    """A name that an attacker points at the cart (DNS rebinding) is not the cart's."""
    for path in ("/", "/news"):
        assert phone.ask("GET", path, Host=host)[0] in (400, 421)


@pytest.mark.parametrize("origin", ["http://evil.example", "null", ""])
def test_another_site_presses_no_button(phone: Browser, origin: str) -> None:
    """A form or script of another page is refused, cookie or not."""
    body = {"ids": [1], "what": "way", "name": "Runner"}
    assert phone.ask("POST", "/act", body, Origin=origin)[0] == 403
    assert phone.ask("POST", "/enter", {"code": "x"}, Origin=origin)[0] == 403
    plain = phone.ask("POST", "/act", body, Content_Type="text/plain")
    assert plain[0] == 415


def test_wrong_codes_are_slowed_down(night: PageNight, stranger: Browser) -> None:
    """After a few the answer is to wait, whatever is given then, the right code too."""
    for _ in range(FREE_TRIES):
        assert stranger.enter("wrong") == 403
    status, headers, _ = stranger.ask("POST", "/enter", {"code": night.server.access.code})
    assert status == 429
    assert int(headers["Retry-After"]) >= 1


def test_buttons_reach_the_watch(night: PageNight, phone: Browser) -> None:
    """On the way, fixed and off, under the name that was given."""
    number = next(iter(night.server.feed.incidents))
    for what in ("way", "fixed", "off"):
        body = {"ids": [number], "what": what, "name": " Second\u202e assistant "}
        assert phone.ask("POST", "/act", body)[0] == 204
    stages = (Stage.ON_THE_WAY, Stage.FIXED, None)
    wanted = [Attend(number, "Second? assistant", stage) for stage in stages]
    _until(lambda: night.crew.heeded == wanted)  # type: ignore[attr-defined]
    assert [p.name for p in night.server.access.phones] == ["Second? assistant"]


def test_only_the_mixer_lets_phones_acknowledge(night: PageNight, phone: Browser) -> None:
    """Refused until the mixer allows it in the panel."""
    number = next(iter(night.server.feed.incidents))
    body = {"ids": [number], "what": "seen"}
    assert phone.ask("POST", "/act", body)[0] == 403
    night.server.feed.may_see = True
    assert phone.ask("POST", "/act", body)[0] == 204
    _until(lambda: night.crew.heeded == [Acknowledge(number)])  # type: ignore[attr-defined]


@pytest.mark.parametrize(
    ("body", "status"),
    [
        (b"{", 400),
        (b"[" * 2000, 400),
        (b"[]", 400),
        (b"\xff\xfe", 400),
        (b"x" * (LARGEST_BODY + 1), 413),
        ({"ids": [], "what": "way", "name": "x"}, 409),
        ({"ids": "1", "what": "way", "name": "x"}, 409),
        ({"ids": [987654], "what": "way", "name": "x"}, 409),
        ({"ids": [[1]], "what": "way", "name": "x"}, 409),
        ({"what": "way", "name": "x"}, 409),
    ],
)
def test_odd_requests_are_refused(phone: Browser, body: Any, status: int) -> None:
    """No JSON, no object, too large, or about what is not shown."""
    assert phone.ask("POST", "/act", body)[0] == status


@pytest.mark.parametrize("more", [{}, {"name": ""}, {"name": 5}, {"what": "stop", "name": "x"}])
def test_odd_buttons_are_refused(night: PageNight, phone: Browser, more: dict[str, Any]) -> None:
    """Without a name, or not a button."""
    number = next(iter(night.server.feed.incidents))
    assert phone.ask("POST", "/act", {"ids": [number], "what": "way", **more})[0] == 400


def test_too_many_buttons_are_refused(night: PageNight, phone: Browser) -> None:
    """A phone that sends without end is told to wait."""
    body = {"ids": [next(iter(night.server.feed.incidents))], "what": "way", "name": "Runner"}
    statuses = [phone.ask("POST", "/act", body)[0] for _ in range(ACTS + 3)]
    assert statuses == [204] * ACTS + [429] * 3


def test_a_new_code_throws_phones_out(night: PageNight, phone: Browser) -> None:
    """Streams end at once, and the old cookie is worth nothing."""
    connection = http.client.HTTPConnection(phone.host, phone.port, timeout=5)
    connection.request("GET", "/news", headers={"Host": phone.own, "Cookie": phone.cookie})
    answer = connection.getresponse()
    answer.readline()
    night.call(night.server.renew)
    answer.read()  # to its end
    answer.close()
    connection.close()
    assert phone.ask("GET", "/news")[0] == 403


def test_silent_connections_are_closed(
    night: PageNight, stranger: Browser, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Who opens connections and says nothing takes no place for long."""
    monkeypatch.setattr(page_server, "STRANGER_S", 0.2)
    silent = socket.create_connection((stranger.host, stranger.port), timeout=10)
    silent.sendall(b"GET / HTTP/1.1\r\nHost: ")
    with suppress(ConnectionResetError):
        assert silent.recv(10) == b""
    silent.close()


def test_a_slow_phone_holds_up_nobody(night: PageNight, phone: Browser) -> None:
    """A phone that reads nothing fills its own queue; another one hears on."""
    stuck = socket.create_connection((phone.host, phone.port))
    stuck.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 1024)
    ask = f"GET /news HTTP/1.1\r\nHost: {phone.own}\r\nCookie: {phone.cookie}\r\n\r\n"
    stuck.sendall(ask.encode())
    _until(lambda: any(p.streams for p in night.server.access.phones))
    connection = http.client.HTTPConnection(phone.host, phone.port, timeout=5)
    connection.request("GET", "/news", headers={"Host": phone.own, "Cookie": phone.cookie})
    answer = connection.getresponse()
    for _ in range(20):
        assert answer.readline()
    assert max(queue.qsize() for queue in night.server._queues) <= page_server.QUEUE
    answer.close()
    connection.close()
    stuck.close()


def test_the_code_is_in_no_log(
    night: PageNight, stranger: Browser, caplog: pytest.LogCaptureFixture
) -> None:
    """Whatever comes, neither code nor cookie is logged."""
    caplog.set_level(logging.DEBUG)
    code = night.server.access.code
    stranger.enter(code)
    stranger.ask("GET", f"/?code={code}")
    stranger.ask("GET", "/news")
    stranger.ask("POST", "/act", b"{")
    assert code not in caplog.text
    assert stranger.cookie.partition("=")[2] not in caplog.text


def _until(holds: Any) -> None:
    end = time.monotonic() + 5.0
    while not holds():
        assert time.monotonic() < end, "waited in vain"
        time.sleep(0.01)
