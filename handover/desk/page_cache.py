"""Owners' pages as they were filled in, as long as they are right: until a task begins or ends, or a tick."""

from __future__ import annotations

import threading
from collections import OrderedDict
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Hashable
    from datetime import datetime

MAX_PAGES = 256
"""Pages in memory, each of some 60 kB."""


@dataclass(frozen=True)
class _FilledPage:
    text: str
    made_at: datetime
    until: datetime | None


class PageCache:
    """Pages by what they show. Threads may share it."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._pages: OrderedDict[Hashable, _FilledPage] = OrderedDict()

    def get(self, key: Hashable, at: datetime) -> str | None:
        """Return a page that is right at a moment; None where there is none."""
        with self._lock:
            found = self._pages.get(key)
            if found is None or at < found.made_at or (found.until is not None and at >= found.until):
                return None
            self._pages.move_to_end(key)
            return found.text

    def put(self, key: Hashable, text: str, at: datetime, until: datetime | None) -> None:
        """Keep a page that is right from a moment until another one; None: for good."""
        with self._lock:
            self._pages[key] = _FilledPage(text, at, until)
            self._pages.move_to_end(key)
            while len(self._pages) > MAX_PAGES:
                self._pages.popitem(last=False)
