"""The record to fill in."""

from __future__ import annotations

import json
import re
from importlib.resources import files
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

_USE = '# use = "garage floor"                 '
_WALKTHROUGH = "# photo = "
"""The beginnings of the line with the use and of the last line of the walk-through."""


def record_template(use: str | None = None, walkthrough: Iterable[str] = ()) -> str:
    """Return a commented job record in TOML with every field; the required ones are blank.

    Args:
        use: What the slab is for, if known; it is filled in.
        walkthrough: The usual items of a walk-through with the owner, added as commented lines.
    """
    text = files("handover.jobs").joinpath("blank.toml").read_text(encoding="utf-8")
    if use is not None:
        text = text.replace(_USE, f'use = "{use}"'.ljust(len(_USE)), 1)
    offered = [line for item in walkthrough for line in ("# [[walkthrough]]", f'# item = "{item}"')]
    if not offered:
        return text
    before, photo, after = text.partition(_WALKTHROUGH)
    rest, _, later = after.partition("\n")
    lines = [
        f"{before}{photo}{rest}",
        "# The usual items for such a slab. After the walk-through, add ok = true, or ok = false and a note.",
        *offered,
        later,
    ]
    return "\n".join(lines)


def fill_record(text: str, values: Mapping[str, str | float | list[str]]) -> str:
    """Return a record as `record_template` writes it, with values in their lines.

    Args:
        text: The record to fill in.
        values: By path: "id", "slab.thickness". A text has no control characters.

    Raises:
        KeyError: The record has no line for a path.
    """
    lines, table, left = [], "", dict(values)
    for blank in text.split("\n"):
        line = blank
        if heading := re.fullmatch(r"\[([a-z_]+)\]", line):
            table = heading[1]
        elif line.startswith("# [["):  # an example of a list of tables
            table = ""
        if found := re.match(r"(?:# )?([a-z_]+) = ", line):
            path = f"{table}.{found[1]}" if table else found[1]
            if path in left:
                line = _filled_line(line, found[1], left.pop(path))
        lines.append(line)
    if left:
        raise KeyError(next(iter(left)))
    return "\n".join(lines)


def _filled_line(line: str, key: str, value: str | float | list[str]) -> str:
    """Return a line of the record with a value, and with its comment in its column."""
    comment = re.search(r"\s(#\s.*)$", line.removeprefix("# "))
    filled = f"{key} = {json.dumps(value, ensure_ascii=False)}"
    return f"{filled:<39} {comment[1]}" if comment else filled
