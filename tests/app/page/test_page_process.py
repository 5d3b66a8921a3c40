"""The page's process: orders on its loopback port, and how it is started."""

from __future__ import annotations

import asyncio
import json
import stat
from collections.abc import AsyncIterator, Callable, Coroutine
from contextlib import asynccontextmanager
from pathlib import Path
from typing import Any

import pytest

from app.page import page_process
from app.page.launch import PageWish, launch
from app.page.page_process import RUNNING, Control
from app.page.page_server import PageServer
from tests.support.qt import fake_client

PLAN = fake_client.tower_plan()


class Desk:
    """Whoever sits at the cart and can read the folder."""

    def __init__(self, folder: Path, server: PageServer, control: Control) -> None:
        self.server, self.control = server, control
        self.where = json.loads((folder / RUNNING).read_text("utf-8"))
        self.writer: asyncio.StreamWriter
        self.reader: asyncio.StreamReader

    async def connect(self, key: str) -> bytes:
        """Say that key; returns the first line of the answer."""
        self.reader, self.writer = await asyncio.open_connection("127.0.0.1", self.where["port"])
        self.writer.write(key.encode() + b"\n")
        return await asyncio.wait_for(self.reader.readline(), 5.0)

    async def order(self, **order: Any) -> dict[str, Any]:
        """Give an order; returns the next status."""
        self.writer.write(json.dumps(order).encode() + b"\n")
        said: dict[str, Any] = json.loads(await asyncio.wait_for(self.reader.readline(), 5.0))
        return said


@asynccontextmanager
async def desk_of(folder: Path) -> AsyncIterator[Desk]:
    """A page with its control."""
    client = fake_client.Crew(PLAN, ()).client
    server = PageServer(client, "127.0.0.1", 0)
    await server.start()
    control = Control(server, "AA:BB")
    listening = await control.start(folder)
    desk = Desk(folder, server, control)
    try:
        yield desk
    finally:
        desk.writer.close()
        listening.close()
        await server.close()


def run(folder: Path, work: Callable[[Desk], Coroutine[Any, Any, None]]) -> None:
    """Run a test's body on a loop."""

    async def whole() -> None:
        async with desk_of(folder) as desk:
            await work(desk)

    asyncio.run(whole())


def test_the_cart_sees_and_steers_the_page(tmp_path: Path, monkeypatch: Any) -> None:
    """Address and fingerprint are told; a new code, acknowledging and off are obeyed."""
    monkeypatch.setattr(page_process, "STATUS_S", 0.01)

    async def work(desk: Desk) -> None:
        first = json.loads(await desk.connect(desk.where["key"]))
        assert first == {
            **{"address": desk.server.address, "fingerprint": "AA:BB"},
            **{"may_see": False, "phones": []},
        }
        assert (await desk.order(do="may see", on=True))["may_see"]
        assert (await desk.order(do="new code"))["address"] == desk.server.address
        assert desk.server.address != first["address"]
        desk.writer.write(b'{"do": "off"}\n')
        await asyncio.wait_for(desk.control.off.wait(), 5.0)

    run(tmp_path, work)


@pytest.mark.parametrize("key", ["", "wrong", "é"])
def test_who_cannot_read_the_folder_cannot_steer(tmp_path: Path, key: str) -> None:
    """A wrong key is hung up on; the file with the right one is its owner's alone."""

    async def work(desk: Desk) -> None:
        assert await desk.connect(key) == b""
        assert not desk.control.off.is_set()

    run(tmp_path, work)
    assert stat.S_IMODE((tmp_path / RUNNING).stat().st_mode) == 0o600


@pytest.mark.parametrize("line", [b"{\n", b"[]\n", b"x" * 5000 + b"\n", b'{"do": 5}\n'])
def test_odd_orders_change_nothing(tmp_path: Path, line: bytes) -> None:
    """The page goes on."""

    async def work(desk: Desk) -> None:
        await desk.connect(desk.where["key"])
        desk.writer.write(line)
        assert (await desk.reader.readline()) == b"" or not desk.control.off.is_set()

    async def bounded(desk: Desk) -> None:
        try:
            await asyncio.wait_for(work(desk), 1.0)
        except TimeoutError:
            assert not desk.control.off.is_set()

    run(tmp_path, bounded)


@pytest.mark.parametrize(
    ("wish", "word"),
    [
        (PageWish("8.8.8.8"), "public"),
        (PageWish("127.0.0.1:0", "/nowhere/own.pem"), "No such file"),
        (PageWish("10.255.255.1:0"), ""),
    ],
)
def test_a_page_that_cannot_begin_says_why(tmp_path: Path, wish: PageWish, word: str) -> None:
    """One line, and no process stays."""
    said = launch(tmp_path, wish)
    assert word in said["error"]
    assert not (tmp_path / RUNNING).exists()
