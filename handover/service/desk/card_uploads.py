"""Pictures and signatures that a phone sends, decoded and written anew: never stored as they came."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from handover.documents.pictures import clean_picture
from handover.errors import Finding, UnusableInput

if TYPE_CHECKING:
    from collections.abc import Sequence

PICTURE_SIDE = 1600
"""Pixels of the longer side of a stored picture."""

PAD = (1000, 320)
"""Width and height of the pad of a signature, in its own units."""

MAX_POINTS = 20_000

_ABOUT = re.compile(r"slab|(?:ticket|walkthrough)\[[a-z0-9-]{1,40}\]")


def picture_name(about: str) -> str:
    """Return the name of a picture in the folder of the record, with its number to be filled in.

    Raises:
        UnusableInput: A card has no pictures of that.
    """
    if not _ABOUT.fullmatch(about):
        raise UnusableInput([Finding("is no subject of a picture", field="about", expected='such as "slab"')])
    kind = about.partition("[")[0]
    return f"photos/{kind}-{{number}}.jpg"


def write_picture(content: bytes) -> bytes:
    """Return a picture as a small upright JPEG without metadata.

    Raises:
        UnusableInput: It is no picture that can be opened.
    """
    return clean_picture(content, "the picture", PICTURE_SIDE)


def draw_signature(strokes: object) -> bytes:
    """Return a signature as SVG, drawn from its points; b"" for one without strokes, which was cleared.

    Args:
        strokes: Lists of points [x, y] on the pad, as a phone sent them.

    Raises:
        UnusableInput: They are none.
    """
    lines = _points(strokes)
    if lines is None:
        finding = Finding("is not a signature", expected="strokes, each a list of points [x, y] on the pad")
        raise UnusableInput([finding])
    if not lines:
        return b""
    drawn = "".join(f'<polyline points="{" ".join(f"{x},{y}" for x, y in line)}"/>' for line in lines)
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {PAD[0]} {PAD[1]}">'
        f'<g fill="none" stroke="#000" stroke-width="5" stroke-linecap="round" stroke-linejoin="round">'
        f"{drawn}</g></svg>"
    ).encode()


def _points(strokes: object) -> list[list[tuple[int, int]]] | None:
    """Return the points of strokes, or None where they are none or too many."""
    if not isinstance(strokes, list) or not all(isinstance(each, list) and each for each in strokes):
        return None
    if sum(map(len, strokes)) > MAX_POINTS:
        return None
    lines = [[_point(each) for each in line] for line in strokes]
    if any(each is None for line in lines for each in line):
        return None
    return [[each for each in line if each is not None] for line in lines]


def _point(point: Sequence[object] | object) -> tuple[int, int] | None:
    if not isinstance(point, list) or len(point) != len(PAD):
        return None
    x, y = point
    if not all(isinstance(each, int) and not isinstance(each, bool) for each in (x, y)):
        return None
    return (x, y) if 0 <= x <= PAD[0] and 0 <= y <= PAD[1] else None
