"""A forecast and what came with it from the same service, in one file.

    {"forecast": ..., "members": ..., "alerts": ...}

Each part is an answer as received, byte for byte. One file, because a set is archived and issued again with
the weather that it was computed from.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

PARTS = ("members", "alerts")


def join_answers(forecast: bytes, **parts: bytes | None) -> bytes:
    """Return a forecast together with the other answers that there are; alone, it stays as it is.

    Args:
        forecast: JSON in UTF-8.
        parts: The other answers by name, of `PARTS`; None for one that is missing.

    Raises:
        UnicodeDecodeError: An answer is not in UTF-8.
    """
    found = {name: parts[name] for name in PARTS if parts.get(name) is not None}
    if not found:
        return forecast
    lines = [f'"{name}": {_text(answer)}' for name, answer in {"forecast": forecast, **found}.items()]
    return ("{" + ",\n".join(lines) + "}\n").encode()


def is_joined(document: Mapping[str, Any]) -> bool:
    """Return whether a JSON document has several answers."""
    return isinstance(document.get("forecast"), Mapping) and not document.keys().isdisjoint(PARTS)


def _text(answer: bytes | None) -> str:
    return (answer or b"null").decode("utf-8-sig")
