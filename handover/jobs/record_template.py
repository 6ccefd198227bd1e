"""The record to fill in."""

from __future__ import annotations

from importlib.resources import files
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable

_USE = '# use = "garage floor"                 '
_WALKTHROUGH = "# photo = "
"""How the line begins that tells the use, and the last one of the walk-through."""


def record_template(use: str | None = None, walkthrough: Iterable[str] = ()) -> str:
    """Return a commented job record in TOML, every field in it, with blanks for what must be told.

    Args:
        use: What the slab is for, where that is known; it is filled in.
        walkthrough: What is usual to look at together with the owner, offered as lines to put to use.
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
        "# Usual on such a slab. Once you have looked, add ok = true, or ok = false and a note.",
        *offered,
        later,
    ]
    return "\n".join(lines)
