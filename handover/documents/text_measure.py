"""In how many lines a text breaks in the typeface of the documents, by the widths of its letters.

No layout is made for it. A line may end at a space alone: the engine breaks at some hyphens, too, so that a
text never has more lines than are counted here.
"""

from __future__ import annotations

from functools import cache
from math import ceil
from typing import TYPE_CHECKING

from handover.documents.fonts import advance_widths, replace_missing_glyphs

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping
    from pathlib import Path

REGULAR, BOLD = 400, 700
"""Weights of the typeface."""

MM = 72 / 25.4
"""Points of a millimetre."""

Run = tuple[str, int]
"""A text and its weight."""


def count_lines(runs: Iterable[Run], width_pt: float, size_pt: float, templates: Path | None = None) -> int:
    """Return in how many lines runs of text break, one after the other; no text has none.

    Args:
        runs: Texts with their weights; a space is between two of them.
        width_pt: Width of a line. [pt]
        size_pt: Size of the type. [pt]
        templates: A contractor's own folder, whose typeface counts.
    """
    whole = width_pt / size_pt
    lines, room = 0, 0.0
    for text, weight in runs:
        widths = _widths(weight, templates)
        for word in replace_missing_glyphs(text, templates).split(" "):
            length = sum(widths.get(letter, 1.0) for letter in word)
            if not lines or length > room:
                lines += max(ceil(length / whole), 1)  # a word longer than a line is broken anywhere
                room = whole - length % whole if length > whole else whole - length
            else:
                room -= length
            room -= widths[" "]
    return lines


@cache
def _widths(weight: int, templates: Path | None) -> Mapping[str, float]:
    return advance_widths(weight, templates)
