"""The window's hand on the page for phones: a line to its process, which goes on without it."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any, Final

from PySide6.QtCore import QObject, Signal
from PySide6.QtNetwork import QHostAddress, QTcpSocket

RUNNING: Final = "page.json"
"""As `app.page.page_process` names it; that module brings the whole server."""


class PageLink(QObject):
    """`status` (dict) says how the page stands whenever that changes; `gone`: there is none."""

    status = Signal(object)
    gone = Signal()

    def __init__(self, parent: QObject) -> None:
        super().__init__(parent)
        self._socket = QTcpSocket(self)
        self._key = ""
        self._socket.connected.connect(lambda: self._send(self._key))
        self._socket.readyRead.connect(self._read)
        self._socket.disconnected.connect(self.gone)
        self._socket.errorOccurred.connect(lambda _error: self._lost())

    def join(self, folder: Path | None) -> None:
        """Look for the page of that session; the answer comes as a signal."""
        self._socket.abort()
        try:
            said = json.loads(((folder or Path()) / RUNNING).read_text(encoding="utf-8"))
            port, self._key = int(said["port"]), str(said["key"])
        except (OSError, ValueError, KeyError, TypeError):
            self.gone.emit()
            return
        self._socket.connectToHost(QHostAddress.SpecialAddress.LocalHost, port)

    def order(self, what: str, **more: object) -> None:
        """Ask the page to do something; see `app.page.page_process.Control.obey`."""
        self._send(json.dumps({"do": what, **more}))

    def _send(self, line: str) -> None:
        self._socket.write(line.encode() + b"\n")

    def _lost(self) -> None:
        if self._socket.state() == QTcpSocket.SocketState.UnconnectedState:
            self.gone.emit()

    def _read(self) -> None:
        while self._socket.canReadLine():
            try:
                said: Any = json.loads(bytes(self._socket.readLine().data()))
            except ValueError:
                continue
            if isinstance(said, dict):
                self.status.emit(said)
