"""The page's HTTP server: static files for anybody, news and buttons for phones with the code.

Everything is bounded: sizes, connections, phones, buttons, wrong codes. No request is logged.
"""

from __future__ import annotations

import asyncio
import json
import ssl
import time
import traceback
from collections.abc import Awaitable, Callable
from contextlib import suppress
from pathlib import Path
from typing import Any, Final
from weakref import WeakKeyDictionary, WeakSet

from aiohttp import web

from app.page import bind_address
from app.page.access import Access, Phone
from app.page.feed import Client, Feed
from app.page.site_document import Site
from engine.model.commands import Acknowledge, Attend
from engine.model.crew_notes import Stage
from engine.model.safe_text import harmless

STATIC: Final = Path(__file__).parent / "static"
FILES: Final = {
    "/": ("index.html", "text/html"),
    "/page.css": ("page.css", "text/css"),
    "/page.js": ("page.js", "text/javascript"),
    "/format.js": ("format.js", "text/javascript"),
    "/icon.svg": ("icon.svg", "image/svg+xml"),
}
COOKIE: Final = "trackwarden"
LARGEST_BODY: Final = 2048
LONGEST_NAME: Final = 24
STEP_S: Final = 0.025
QUEUE: Final = 25
"""Messages that wait for a slow phone; then it starts afresh with the whole document."""
STRANGER_S: Final = 15.0
"""A connection without a phone's cookie is closed after so long."""
MOST_CONNECTIONS: Final = 200

HEADERS: Final = {
    "Content-Security-Policy": (
        "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; "
        "connect-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
    ),
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "no-referrer",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "camera=(), microphone=(), geolocation=()",
    "Cache-Control": "no-store",
    "Server": "trackwarden",
}

STAGES: Final = {"way": Stage.ON_THE_WAY, "fixed": Stage.FIXED, "off": None}
Handler = Callable[[web.Request], Awaitable[web.StreamResponse]]


class PageServer:
    """One page on one address.

    Parameters
    ----------
    client : Client
        The watch.
    host, port : str, int
        An address of this machine; port 0: any that is free.
    drill : bool
        Keep back what is wrong.
    tls : ssl.SSLContext, optional
    site : Site, optional
        All carts, for a tab of their own.
    """

    def __init__(
        self,
        client: Client,
        host: str,
        port: int,
        drill: bool = False,
        tls: ssl.SSLContext | None = None,
        site: Site | None = None,
    ) -> None:
        self._client, self._host, self._port, self._tls = client, host, port, tls
        self.feed = Feed(client, drill, time.monotonic, site)
        self.access = Access(time.monotonic)
        self._queues: dict[asyncio.Queue[str | None], Phone] = {}
        self._seen_at: WeakKeyDictionary[Any, float] = WeakKeyDictionary()
        self._trusted: WeakSet[Any] = WeakSet()
        self._runner: web.AppRunner | None = None
        self._loops: list[asyncio.Task[None]] = []

    @property
    def origin(self) -> str:
        """Scheme, address and port."""
        scheme = "https" if self._tls else "http"
        return f"{scheme}://{bind_address.authority(self._host, self._port)}"

    @property
    def address(self) -> str:
        """What to open on a phone. The code is behind the #: browsers send that part nowhere."""
        return f"{self.origin}/#{self.access.code}"

    async def start(self) -> None:
        """Listen. OSError where the address is not this machine's, or taken."""
        app = web.Application(middlewares=[self._guard], client_max_size=LARGEST_BODY)
        app.on_response_prepare.append(_add_headers)
        for path in FILES:
            app.router.add_get(path, self._file)
        app.router.add_get("/news", self._news)
        app.router.add_post("/enter", self._enter)
        app.router.add_post("/act", self._act)
        self._runner = web.AppRunner(app, access_log=None, keepalive_timeout=STRANGER_S)
        await self._runner.setup()
        site = web.TCPSite(self._runner, self._host, self._port, ssl_context=self._tls, backlog=64)
        await site.start()
        self._port = int(self._runner.addresses[0][1])
        self._loops = [asyncio.create_task(self._spread()), asyncio.create_task(self._tidy())]

    async def close(self) -> None:
        """Let go of every phone and of the address."""
        for loop in self._loops:
            loop.cancel()
        self._hang_up()
        if self._runner is not None:
            await self._runner.cleanup()

    def renew(self) -> None:
        """A new code; all phones are out."""
        self.access.renew()
        self._hang_up()

    def _hang_up(self) -> None:
        for queue in self._queues:
            _replace(queue, None)

    # ---- loops -------------------------------------------------------------------------------

    async def _spread(self) -> None:
        """Give what is new to every phone."""
        failed = False
        while True:
            message = None
            try:
                message = self.feed.step()
                if message is not None and failed:  # what phones know may be half of it
                    message, failed = self.feed.full(), False
            except Exception:  # phones see that no news come; the next step may do again
                if not failed:
                    traceback.print_exc()
                failed = True
            if message is not None:
                for queue in self._queues:
                    if queue.full():
                        _replace(queue, self.feed.full())
                    else:
                        queue.put_nowait(message)
            await asyncio.sleep(STEP_S)

    async def _tidy(self) -> None:
        """Close connections that say nothing, or are too many."""
        while True:
            await asyncio.sleep(1.0)
            server = None if self._runner is None else self._runner.server
            if server is None:
                continue
            now, strangers = time.monotonic(), []
            for handler in server.connections:
                transport = handler.transport
                if transport is None or transport in self._trusted:
                    continue
                first = self._seen_at.setdefault(transport, now)
                strangers.append((first, transport))
            strangers.sort(key=lambda pair: pair[0])
            surplus = len(strangers) - MOST_CONNECTIONS
            for n, (first, transport) in enumerate(strangers):
                if n < surplus or now - first > STRANGER_S:
                    transport.abort()

    # ---- requests ----------------------------------------------------------------------------

    @web.middleware
    async def _guard(self, request: web.Request, handler: Handler) -> web.StreamResponse:
        """Only this very address, only its own pages."""
        self._check_source(request)
        return await handler(request)

    def _check_source(self, request: web.Request) -> None:
        own = self.origin.partition("://")[2]
        if request.headers.getall("Host", []) != [own]:
            raise web.HTTPMisdirectedRequest(text="not this host")  # a name that was rebound
        origin = request.headers.get("Origin")
        if origin is not None and origin != self.origin:
            raise web.HTTPForbidden(text="another origin")
        if request.method == "POST" and origin is None:
            raise web.HTTPForbidden(text="no origin")

    async def _file(self, request: web.Request) -> web.Response:
        name, kind = FILES[request.path]
        text = (STATIC / name).read_text(encoding="utf-8")
        return web.Response(text=text, content_type=kind, charset="utf-8")

    async def _enter(self, request: web.Request) -> web.Response:
        """Take a code for a cookie."""
        address = request.remote or ""
        wait_s = self.access.wait_s(address)
        if wait_s > 0:
            wait = {"Retry-After": str(int(wait_s) + 1)}
            raise web.HTTPTooManyRequests(headers=wait, text="too many wrong codes")
        said = await _json(request)
        code = said.get("code")
        token = self.access.enter(code if isinstance(code, str) else "", address)
        if token is None:
            raise web.HTTPForbidden(text="wrong code")
        response = web.Response(status=204)
        secure = self._tls is not None
        response.set_cookie(
            COOKIE, token, httponly=True, samesite="Strict", secure=secure, path="/"
        )
        return response

    async def _news(self, request: web.Request) -> web.StreamResponse:
        """Server-sent events (WHATWG HTML, 9.2) until one of both ends goes."""
        phone = self._phone(request)
        response = web.StreamResponse(headers={"Content-Type": "text/event-stream"})
        await response.prepare(request)
        queue: asyncio.Queue[str | None] = asyncio.Queue(QUEUE)
        queue.put_nowait(self.feed.full())
        self._queues[queue] = phone
        phone.streams += 1
        try:
            while (message := await queue.get()) is not None:
                await response.write(f"data:{message}\n\n".encode())
        except (ConnectionError, asyncio.CancelledError):
            pass
        finally:
            phone.streams -= 1
            del self._queues[queue]
        return response

    async def _act(self, request: web.Request) -> web.Response:
        """A button: on the way, fixed, neither; or seen, where the mixer lets phones say so."""
        phone = self._phone(request)
        if not self.access.may_act(phone):
            raise web.HTTPTooManyRequests(text="too many buttons")
        said = await _json(request)
        name, what, ids = _text(said.get("name")), said.get("what"), _numbers(said.get("ids"))
        if not ids or not self.feed.incidents.issuperset(ids):
            raise web.HTTPConflict(text="that is over")
        if what == "seen":
            if not self.feed.may_see:
                raise web.HTTPForbidden(text="the mixer acknowledges")
            for number in ids:
                self._client.send(Acknowledge(number))
        elif isinstance(what, str) and what in STAGES and name:
            phone.name = name
            for number in ids:
                self._client.send(Attend(number, name, STAGES[what]))
        else:
            raise web.HTTPBadRequest(text="no such button, or no name")
        return web.Response(status=204)

    def _phone(self, request: web.Request) -> Phone:
        phone = self.access.phone(request.cookies.get(COOKIE, ""))
        if phone is None:
            raise web.HTTPForbidden(text="no code")
        if request.transport is not None:
            self._trusted.add(request.transport)
        return phone


async def _add_headers(_request: web.Request, response: web.StreamResponse) -> None:
    response.headers.update(HEADERS)


def _replace(queue: asyncio.Queue[str | None], message: str | None) -> None:
    """That message instead of all that waits."""
    with suppress(asyncio.QueueEmpty):
        while True:
            queue.get_nowait()
    queue.put_nowait(message)


async def _json(request: web.Request) -> dict[str, Any]:
    if request.content_type != "application/json":
        raise web.HTTPUnsupportedMediaType
    try:
        said = json.loads(await request.text())
    except (ValueError, RecursionError):
        raise web.HTTPBadRequest(text="no JSON") from None
    if not isinstance(said, dict):
        raise web.HTTPBadRequest(text="no JSON object")
    return said


def _numbers(value: object) -> list[int]:
    """Whole numbers, each once; nothing where it is anything else."""
    if not isinstance(value, list) or not all(type(number) is int for number in value):
        return []
    return list(dict.fromkeys(value))


def _text(value: object) -> str:
    """A short line of plain text."""
    return harmless(value)[:LONGEST_NAME].strip() if isinstance(value, str) else ""
