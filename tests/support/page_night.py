"""A page of a made-up watch, served in this process for as long as a block lasts."""

from __future__ import annotations

import asyncio
import threading
from collections.abc import Callable, Coroutine, Iterator
from contextlib import contextmanager
from typing import Any

from app.page.page_server import PageServer
from tests.support.qt import fake_client

WAITS_S = 10.0


class PageNight:
    """The crew whose watch it is, the server, and the loop that it runs on."""

    def __init__(
        self, crew: fake_client.Crew, drill: bool = False, tls: Any = None, site: Any = None
    ) -> None:
        self.crew = crew
        self.loop = asyncio.new_event_loop()
        self.server = PageServer(crew.client, "127.0.0.1", 0, drill, tls, site)
        self._thread = threading.Thread(target=self.loop.run_forever, daemon=True)

    def do(self, work: Callable[[], Coroutine[Any, Any, Any]]) -> Any:
        """Run that on the server's loop and wait for it."""
        return asyncio.run_coroutine_threadsafe(work(), self.loop).result(WAITS_S)

    def call(self, work: Callable[[], Any]) -> Any:
        """The same with what does not wait."""

        async def once() -> Any:
            return work()

        return self.do(once)

    def start(self) -> None:
        """Listen."""
        self._thread.start()
        self.do(self.server.start)

    def stop(self) -> None:
        """Let go of everything, as a server that ends in good order does."""
        self.do(self.server.close)
        self.do(_end_the_rest)
        self.loop.call_soon_threadsafe(self.loop.stop)
        self._thread.join(WAITS_S)
        self.loop.close()


async def _end_the_rest() -> None:
    """Whatever still talks on the loop, such as a control connection."""
    others = asyncio.all_tasks() - {asyncio.current_task()}
    for task in others:
        task.cancel()
    await asyncio.gather(*others, return_exceptions=True)
    await asyncio.sleep(0)


@contextmanager
def page_night(
    crew: fake_client.Crew, drill: bool = False, tls: Any = None, site: Any = None
) -> Iterator[PageNight]:
    """Serve it."""
    night = PageNight(crew, drill, tls, site)
    night.start()
    try:
        yield night
    finally:
        night.stop()
