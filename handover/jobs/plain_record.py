"""A job record written anew from what was read of it, for its owner: no comments of the crew."""

from __future__ import annotations

import json

import tomli_w

from handover.jobs.parse import decode_utf8, language_of, parse_text


def plain_record(record: tuple[str, bytes] | None) -> tuple[str, bytes] | None:
    """Return name and bytes of a record without comments, in its own format; None if it cannot be read."""
    if record is None:
        return None
    name, data = record
    text = decode_utf8(data)
    tables = parse_text(text) if isinstance(text, str) else None
    if not (isinstance(text, str) and isinstance(tables, dict)):
        return None
    if language_of(text) == "json":
        return name, f"{json.dumps(tables, ensure_ascii=False, indent=2)}\n".encode()
    return name, tomli_w.dumps(tables).encode()
