"""The page's own process: `python -m app.page.page_process FOLDER ADDRESS:PORT`.

With `--tls PEM` it is encrypted, with `--site mqtt://HOST/SITE` it shows all carts as well. It
follows the watch of the session in FOLDER, serves the page, and takes orders from whoever can read
`page.json` in that folder (its owner alone) on a loopback port: one JSON object a line. It prints
one line of JSON once it listens, or why it can't; then it ends with the watch, or when told to.
"""

from __future__ import annotations

import argparse
import asyncio
import hmac
import json
import secrets
import ssl
import sys
import time
from collections.abc import Callable
from contextlib import suppress
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from app.fleet import broker_address
from app.fleet.broker_address import BrokerLogin
from app.page import bind_address, certificate
from app.page.page_server import PageServer
from engine.model.commands import Open
from engine.runtime.client import EngineClient
from engine.session import engines

if TYPE_CHECKING:
    from app.fleet.site_reader import SiteReader

RUNNING: Final = "page.json"
LINGERS_S: Final = 600.0
"""So long the page says that the watch has ended."""
STATUS_S: Final = 0.5
LONGEST_LINE: Final = 4096
MADE: Final = "made"
"""`--tls made`: with a certificate made on the spot."""


class Control:
    """Takes orders on a loopback port, and says how the page stands."""

    def __init__(self, server: PageServer, fingerprint: str) -> None:
        self._server, self._fingerprint = server, fingerprint
        self._key = secrets.token_urlsafe(32)
        self.off = asyncio.Event()

    async def start(self, folder: Path) -> asyncio.Server:
        """Listen, and write where."""
        made = await asyncio.start_server(self._talk, "127.0.0.1", 0, limit=LONGEST_LINE)
        port = made.sockets[0].getsockname()[1]
        text = json.dumps({"port": port, "key": self._key})
        engines.write_private(folder / RUNNING, text)
        return made

    def status(self) -> dict[str, Any]:
        """How the page stands."""
        phones = [p for p in self._server.access.phones if p.streams]
        return {
            "address": self._server.address,
            "fingerprint": self._fingerprint,
            "may_see": self._server.feed.may_see,
            "phones": [{"name": phone.name, "address": phone.address} for phone in phones],
        }

    def obey(self, order: dict[str, Any]) -> None:
        """New code, off, or whether phones may acknowledge."""
        match order.get("do"):
            case "new code":
                self._server.renew()
            case "may see":
                self._server.feed.may_see = order.get("on") is True
            case "off":
                self.off.set()

    async def _talk(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        with suppress(OSError, ValueError, asyncio.TimeoutError, asyncio.CancelledError):
            first = await asyncio.wait_for(reader.readline(), 5.0)
            if hmac.compare_digest(first.strip(), self._key.encode()):
                await self._serve(reader, writer)
        writer.close()

    async def _serve(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        telling = asyncio.create_task(self._tell(writer))
        try:
            while line := await reader.readline():
                order = json.loads(line)
                if isinstance(order, dict):
                    self.obey(order)
        finally:
            telling.cancel()

    async def _tell(self, writer: asyncio.StreamWriter) -> None:
        last: dict[str, Any] | None = None
        with suppress(OSError):
            while True:
                status = self.status()
                if status != last:
                    last = status
                    writer.write(json.dumps(status).encode() + b"\n")
                    await writer.drain()
                await asyncio.sleep(STATUS_S)


def _drill(folder: Path) -> bool:
    running = engines.left_running(folder)
    return running is not None and running.request.seed is not None


async def serve(folder: Path, where: str, tls: str, carts: Callable[[], SiteReader | None]) -> int:
    """Serve until the watch has long ended, or until told to stop; 2 where it could not begin."""
    site: SiteReader | None = None
    client = EngineClient(Open(), "page", folder, follows=True)
    try:
        host, port = bind_address.parse(where)
        pem = certificate.make(folder, host) if tls == MADE else Path(tls) if tls else None
        context = None if pem is None else certificate.context(pem)
        site = carts()
        server = await _listening(client, host, port, _drill(folder), context, site)
        control = Control(server, "" if pem is None else certificate.fingerprint(pem))
        listening = await control.start(folder)
    except (OSError, ValueError) as error:
        print(json.dumps({"error": str(error)}), flush=True)
        client.close()
        if site is not None:
            site.close()
        return 2
    print(json.dumps(control.status()), flush=True)
    try:
        await _until_over(server, control)
    finally:
        (folder / RUNNING).unlink(missing_ok=True)
        listening.close()
        await server.close()
        client.close()
        if site is not None:
            site.close()
    return 0


async def _listening(
    client: EngineClient,
    host: str,
    port: int,
    drill: bool,
    tls: ssl.SSLContext | None,
    site: SiteReader | None,
) -> PageServer:
    """A server that listens; where the usual port is taken, on any that is free."""
    for attempt in dict.fromkeys((port, 0 if port == bind_address.DEFAULT_PORT else port)):
        server = PageServer(client, host, attempt, drill, tls, site)
        try:
            await server.start()
        except OSError:
            await server.close()
            if attempt == 0 or port != bind_address.DEFAULT_PORT:
                raise
        else:
            return server
    raise OSError("no free port")


async def _until_over(server: PageServer, control: Control) -> None:
    over_at: float | None = None
    while not control.off.is_set():
        with suppress(TimeoutError):
            await asyncio.wait_for(control.off.wait(), 1.0)
        now = time.monotonic()
        over_at = (over_at or now) if server.feed.over else None
        if over_at is not None and now - over_at > LINGERS_S:
            return


def _carts(site: str, login: BrokerLogin) -> SiteReader | None:
    """All carts of that site; None where none is given."""
    if not site:
        return None
    from app.fleet.site_reader import SiteReader  # brings the MQTT library: only where it is asked

    return SiteReader(broker_address.parse(site, cart=False), login)


def main() -> int:
    """Serve the page of one session."""
    parser = argparse.ArgumentParser(description="serves the page of one session")
    parser.add_argument("folder", type=Path)
    parser.add_argument("where", metavar="ADDRESS:PORT")
    parser.add_argument("--tls", default="")
    parser.add_argument("--site", default="", metavar="mqtt://HOST/SITE")
    parser.add_argument("--login", default="", metavar="FILE")
    parser.add_argument("--ca", default="", metavar="PEM")
    given = parser.parse_args()
    login = BrokerLogin(given.login, given.ca)
    with suppress(KeyboardInterrupt):
        carts = partial(_carts, given.site, login)
        return asyncio.run(serve(given.folder, given.where, given.tls, carts))
    return 0


if __name__ == "__main__":
    sys.exit(main())
