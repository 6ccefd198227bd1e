"""The record to fill in."""

from __future__ import annotations

from importlib.resources import files
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable

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
