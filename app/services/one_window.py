"""One window a live watch: a second start raises the first instead of doubling its chime."""

from __future__ import annotations

import hashlib
from pathlib import Path
from typing import Final

from PySide6.QtCore import QObject, Signal
from PySide6.QtNetwork import QLocalServer, QLocalSocket

WAIT_MS: Final = 500
"""A window that does not answer within this time is taken for gone."""


class OneWindow(QObject):
    """Answers for one session at a time; `raised` says that somebody started it once more."""

    raised = Signal()

    def __init__(self, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._server: QLocalServer | None = None

    def claim(self, session: Path) -> bool:
        """This window shows that session; False where another does, which is raised then."""
        self.release()
        name = "trackwarden-" + hashlib.sha256(str(session.resolve()).encode()).hexdigest()[:24]
        socket = QLocalSocket()
        socket.connectToServer(name)
        if socket.waitForConnected(WAIT_MS):
            socket.disconnectFromServer()
            return False
        QLocalServer.removeServer(name)  # of a window that was killed
        server = QLocalServer(self)
        server.setSocketOptions(QLocalServer.SocketOption.UserAccessOption)
        server.newConnection.connect(self._answer)
        if server.listen(name):
            self._server = server
        return True

    def release(self) -> None:
        """The watch is over, or the window goes."""
        if self._server is not None:
            self._server.close()
            self._server = None

    def _answer(self) -> None:
        assert self._server is not None
        connection = self._server.nextPendingConnection()
        connection.disconnected.connect(connection.deleteLater)
        self.raised.emit()
