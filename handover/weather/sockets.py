"""The sockets of one HTTP client, which any thread can shut down.

A timeout of the client is for each read. A server that sends one byte at a time never reaches it.
"""

from __future__ import annotations

import socket
from contextlib import suppress
from threading import Lock
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Mapping

_CONNECT = ".connect_tcp"
"""End of the name of an event of the client, with a proxy too: it opens a connection, or has opened it."""


class OpenSockets:
    """Holds a duplicate of each socket that a client opens.

    The client may wrap its own socket in TLS at any time; a duplicate stays usable, and shuts down both.
    """

    def __init__(self) -> None:
        self._lock = Lock()
        self._sockets: list[socket.socket] = []
        self._is_over = False

    def trace(self, event: str, details: Mapping[str, Any]) -> None:
        """Note a new connection: the client calls this for each step of a request.

        Raises:
            ConnectionAbortedError: The sockets are shut down; no other one is opened.
        """
        if event.endswith(f"{_CONNECT}.started") and self._is_over:
            raise ConnectionAbortedError("nobody waits for the answer any more")
        if event.endswith(f"{_CONNECT}.complete"):
            own = details["return_value"].get_extra_info("socket")
            with self._lock:
                self._sockets.append(own.dup())
            if self._is_over:
                self.shut_down()

    def shut_down(self) -> None:
        """End every read and write that waits, in whichever thread."""
        self._is_over = True
        with self._lock:
            for each in self._sockets:
                with suppress(OSError):  # the other side has ended it
                    each.shutdown(socket.SHUT_RDWR)

    def close(self) -> None:
        """Close the duplicates, after the client closed its own sockets."""
        with self._lock:
            for each in self._sockets:
                each.close()
            self._sockets.clear()
