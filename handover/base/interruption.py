"""Ctrl-C and SIGTERM: a request to stop that no library can discard.

Python raises the exception wherever the main thread is at that moment. In a finalizer, a callback of a C
library or a bare `except` it is discarded, and the run would go on to its end; some libraries make another
exception of it. So the handler notes the request as well, and nothing is published before that was looked at.
"""

from __future__ import annotations

import signal

TYPE_CHECKING = False
if TYPE_CHECKING:
    from typing import NoReturn

_requested = False


def install_handlers() -> None:
    """Handle the signals that nobody else handles or ignores. A service manager sends SIGTERM.

    Raises:
        ValueError: This is not the main thread.
    """
    if signal.getsignal(signal.SIGTERM) is signal.SIG_DFL:
        signal.signal(signal.SIGTERM, _stop)
    if signal.getsignal(signal.SIGINT) is signal.default_int_handler:
        signal.signal(signal.SIGINT, _stop)


def is_requested() -> bool:
    """Return whether somebody asked this run to stop."""
    return _requested


def raise_if_requested() -> None:
    """Raise the exception once more, if it was raised before and this run goes on.

    Raises:
        KeyboardInterrupt: Somebody asked this run to stop.
    """
    if is_requested():
        raise KeyboardInterrupt


def _stop(number: int, _: object) -> NoReturn:
    """End as by Ctrl-C, so that nothing unfinished is left; SIGTERM once, so that clearing up can end."""
    global _requested  # noqa: PLW0603 - a signal belongs to the process, and so does the request
    _requested = True
    if number == signal.SIGTERM:
        signal.signal(signal.SIGTERM, signal.SIG_IGN)
    raise KeyboardInterrupt
