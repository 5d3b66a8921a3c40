"""What a stream is connected to, by the word of a sound server that the test plays."""

from __future__ import annotations

import json
import os
import stat
import threading
from pathlib import Path

import pytest

from engine.sources import server_connection
from engine.sources.server_connection import ServerConnection, connected_source

pytestmark = pytest.mark.skipif(os.name != "posix", reason="PulseAudio's own tool")

OUTPUTS = [
    {"index": 1, "source": 5, "properties": {"application.process.id": "77"}},
    {"index": 2, "source": 6, "properties": {"application.process.id": str(os.getpid())}},
]
SOURCES = [{"index": 5, "name": "laptop"}, {"index": 6, "name": "interface"}]


@pytest.fixture
def server(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder with a `pactl` that answers with the files there; events come through a pipe."""
    script = tmp_path / "pactl"
    script.write_text(
        '#!/bin/sh\nif [ "$1" = subscribe ]; then exec cat "$(dirname "$0")/events"; fi\n'
        'exec cat "$(dirname "$0")/$4"\n'
    )
    script.chmod(script.stat().st_mode | stat.S_IXUSR)
    os.mkfifo(tmp_path / "events")
    monkeypatch.setenv("PATH", str(tmp_path), prepend=os.pathsep)
    say(tmp_path, OUTPUTS, SOURCES)
    return tmp_path


def say(folder: Path, outputs: object, sources: object) -> None:
    """The server's answers from now on."""
    (folder / "source-outputs").write_text(json.dumps(outputs))
    (folder / "sources").write_text(json.dumps(sources))


def test_the_source_of_this_processs_stream_is_found(server: Path) -> None:
    """By process, among the streams of others."""
    assert connected_source(os.getpid()) == "interface"
    assert connected_source(77) == "laptop"
    assert connected_source(78) is None


@pytest.mark.parametrize("answer", ["", "no JSON", "[1, null]", '[{"index": 2}]', "{}"])
def test_an_answer_that_is_none_says_nothing(server: Path, answer: str) -> None:
    """Older tools, and servers that go in the midst of an answer."""
    (server / "source-outputs").write_text(answer)
    assert connected_source(os.getpid()) is None


def test_a_stream_that_is_moved_is_told_at_the_servers_event(
    server: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Once, with the name of the other source, and without waiting for the next look."""
    monkeypatch.setattr(server_connection, "POLL_S", 3600.0)
    told, moved = [], threading.Event()

    def note(source: str) -> None:
        told.append(source)
        moved.set()

    connection = ServerConnection("", note)
    assert connection.source == "interface"
    say(server, [{**OUTPUTS[1], "source": 5}], SOURCES)
    with (server / "events").open("w") as events:
        events.write("Event 'change' on sink #1\nEvent 'change' on source-output #2\n")
    assert moved.wait(20.0)
    assert told == ["laptop"]


def test_a_stream_that_begins_on_another_source_is_told_at_once(server: Path) -> None:
    """The interface is not back yet: what the server gives instead must not pass for it."""
    told: list[str] = []
    ServerConnection("wanted interface", told.append)
    assert told == ["interface"]


def test_without_a_server_nothing_is_known(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """No tool, no claim."""
    monkeypatch.setenv("PATH", str(tmp_path))
    told: list[str] = []
    assert ServerConnection("wanted", told.append).source == ""
    assert told == []
