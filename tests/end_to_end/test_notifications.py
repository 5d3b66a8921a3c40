"""Desktop notifications as a real notification daemon gets them."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
from collections.abc import Callable, Iterator
from pathlib import Path
from queue import Queue

import pytest

from app.alerts.notification_service import Notification, NotificationService, Urgency

pytestmark = [pytest.mark.end_to_end, pytest.mark.at_any_speed]
TOOLS = ("Xvfb", "dbus-daemon", "dunst", "dunstctl")
WAIT_S = 20.0
RED = Notification("RED: 3 + 4 Rigger, muted", "No backup. Pack 3 chest.", Urgency.CRITICAL)
AMBER = Notification("AMBER: 1 Foreman, clipping", "Turn the gain down.")

if missing := [tool for tool in TOOLS if shutil.which(tool) is None]:
    pytest.skip(f"needs {', '.join(missing)}", allow_module_level=True)


@pytest.fixture
def desktop(tmp_path: Path) -> Iterator[dict[str, str]]:
    """A display and a session bus of its own, without any daemon yet."""
    reader, writer = os.pipe()
    screen = subprocess.Popen(
        ["Xvfb", "-displayfd", str(writer), "-screen", "0", "1280x720x24", "-nolisten", "tcp"],
        pass_fds=[writer],
        stderr=subprocess.DEVNULL,
    )
    os.close(writer)
    with os.fdopen(reader) as lines:
        display = f":{lines.readline().strip()}"
    config = tmp_path / "bus.conf"
    config.write_text(
        "<busconfig><type>session</type><listen>unix:tmpdir=/tmp</listen>"
        '<policy context="default"><allow send_destination="*" eavesdrop="true"/>'
        '<allow eavesdrop="true"/><allow own="*"/></policy>'
        "</busconfig>"
    )
    bus = subprocess.Popen(
        ["dbus-daemon", f"--config-file={config}", "--nofork", "--print-address"],
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        text=True,
    )
    assert bus.stdout is not None
    address = bus.stdout.readline().strip()
    yield {**os.environ, "DISPLAY": display, "DBUS_SESSION_BUS_ADDRESS": address}
    for process in (bus, screen):
        process.terminate()
        process.wait()
    bus.stdout.close()


@pytest.fixture
def dunst(desktop: dict[str, str], tmp_path: Path) -> Iterator[dict[str, str]]:
    """The daemon, ready to be asked."""
    config = tmp_path / "dunstrc"
    config.write_text("[global]\nhistory_length = 20\n")
    daemon = subprocess.Popen(
        ["dunst", "-config", str(config)], env=desktop, stderr=subprocess.DEVNULL
    )
    ready = ["gdbus", "wait"] if shutil.which("gdbus") else []
    if ready:
        subprocess.run(
            [*ready, "--session", "--timeout", "20", "org.freedesktop.Notifications"],
            env=desktop,
            check=True,
        )
    yield desktop
    daemon.terminate()
    daemon.wait()


def ask(desktop: dict[str, str], *words: str) -> str:
    """What the daemon answers."""
    done = subprocess.run(
        ["dunstctl", *words], env=desktop, capture_output=True, text=True, check=True
    )
    return done.stdout


def service_on(
    desktop: dict[str, str], clicked: Callable[[], None] = lambda: None
) -> tuple[NotificationService, Queue[tuple[bool, str]]]:
    """Ours on that bus, and what it says of the desktop's."""
    news: Queue[tuple[bool, str]] = Queue()
    bus = desktop["DBUS_SESSION_BUS_ADDRESS"]
    service = NotificationService(lambda *one: news.put(one), clicked, bus)
    service.start()
    return service, news


def test_one_notification_is_replaced_and_clicked(dunst: dict[str, str]) -> None:
    """Two in a row are one on the screen; a click comes back; the last one is as it was sent."""
    clicks: Queue[bool] = Queue()
    service, news = service_on(dunst, lambda: clicks.put(True))
    assert news.get(timeout=WAIT_S) == (True, "dunst")
    service.show(AMBER)
    service.show(RED)
    done: Queue[bool] = Queue()
    service._put(lambda _connection: done.put(True))
    assert done.get(timeout=WAIT_S)
    assert ask(dunst, "count", "displayed").strip() == "1"
    ask(dunst, "action")
    assert clicks.get(timeout=WAIT_S)
    ask(dunst, "close-all")
    (shown,) = json.loads(ask(dunst, "history"))["data"][0]
    assert shown["appname"]["data"] == "trackwarden"
    assert shown["summary"]["data"] == RED.title
    assert shown["body"]["data"] == RED.body
    assert shown["timeout"]["data"] == 0, "a critical one stays until it was dismissed"
    service.close()


def test_a_desktop_without_a_service_is_named(desktop: dict[str, str]) -> None:
    """Where nobody answers, why is said in one line, and asking again does no harm."""
    service, news = service_on(desktop)
    assert news.get(timeout=WAIT_S) == (False, "this desktop has no notification service")
    service.show(RED)
    assert news.get(timeout=WAIT_S)[0] is False
    service.close()


def test_no_bus_is_named(tmp_path: Path) -> None:
    """The same where there is no session bus at all."""
    service, news = service_on({"DBUS_SESSION_BUS_ADDRESS": f"unix:path={tmp_path}/none"})
    assert news.get(timeout=WAIT_S) == (False, "this desktop has no session bus")
    service.close()


def test_a_night_without_a_service_piles_nothing_up(tmp_path: Path) -> None:
    """What nobody can show is forgotten once a newer one is there."""
    service, news = service_on({"DBUS_SESSION_BUS_ADDRESS": f"unix:path={tmp_path}/none"})
    assert news.get(timeout=WAIT_S)[0] is False
    for _ in range(50):
        service.show(RED)
        assert news.get(timeout=WAIT_S)[0] is False
    assert len(service._tasks) <= 2, "the newest, and at most one that comes in this moment"
    service.close()
