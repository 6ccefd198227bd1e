"""The typeface of the documents: from a package, under an open licence, never from the system.

A contractor's own typeface replaces it if their folder has `OWN`; the styles use the same name for it.
"""

from __future__ import annotations

import unicodedata
from base64 import b64encode
from functools import cache
from importlib.resources import files
from io import BytesIO
from typing import TYPE_CHECKING

from handover.errors import Finding, UnusableInput

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from fontTools.ttLib import TTFont

FAMILY = "Atkinson Hyperlegible"
PACKAGE = "fontpkg_atkinson_hyperlegible"
WEIGHTS = {400: "AtkinsonHyperlegible-Regular.ttf", 700: "AtkinsonHyperlegible-Bold.ttf"}
OWN = {400: "fonts/regular.ttf", 700: "fonts/bold.ttf"}
"""A contractor's own typeface, in their folder."""

Point = tuple[float, float]
"""Of an outline, in units of the font."""

EMBEDDING = 0x000F
RESTRICTED = 0x0002
"""OpenType OS/2 fsType: a font with this value may not be embedded in a document."""


def font_file(weight: int, templates: Path | None = None) -> bytes:
    """Return the font of a weight, 400 or 700: the contractor's own if there is one.

    Raises:
        UnusableInput: It is not a font, or its licence forbids embedding.
    """
    own = templates / OWN[weight] if templates else None
    if own is None or not own.is_file():
        return _with_plain_zero(weight)
    content = own.read_bytes()
    _check(content, str(own))
    return content


@cache
def _with_plain_zero(weight: int) -> bytes:
    """Return our typeface with a plain zero: people in a hurry read a slashed one as an 8.

    The face has a slashed zero alone. Its outline stays, and so does its width; its two counters, on either
    side of the slash, become one: the outline itself, made as small as the box of the two.
    """
    content = files(PACKAGE).joinpath("files", WEIGHTS[weight]).read_bytes()
    font = _open_font(content)
    zero = font["glyf"][font.getBestCmap()[ord("0")]]
    last = zero.endPtsOfContours[0] + 1
    outline, counters = list(zero.coordinates[:last]), list(zero.coordinates[last:])
    counter = _fit(outline, counters)
    zero.coordinates = type(zero.coordinates)([*outline, *reversed(counter)])
    zero.flags = zero.flags[:last] + zero.flags[:last][::-1]
    zero.endPtsOfContours = [last - 1, 2 * last - 1]
    zero.numberOfContours = 2
    zero.program.fromBytecode(b"")  # hints for points that are gone
    changed = BytesIO()
    font.save(changed, reorderTables=None)
    return changed.getvalue()


def _fit(points: Sequence[Point], box_of: Sequence[Point]) -> list[Point]:
    """Return points stretched so that they fill the box of others."""
    across, up = (
        _stretch([each[axis] for each in points], [each[axis] for each in box_of]) for axis in (0, 1)
    )
    return list(zip(across, up, strict=True))


def _stretch(values: Sequence[float], others: Sequence[float]) -> list[int]:
    """Return values moved and scaled to the least and the largest of others, in whole units."""
    low, begin = min(values), min(others)
    scale = (max(others) - begin) / (max(values) - low)
    return [round(begin + (each - low) * scale) for each in values]


def _check(content: bytes, name: str) -> None:
    from fontTools.ttLib import TTLibError  # noqa: PLC0415 - heavy

    example = "a TrueType font under an open licence"
    try:
        rights = _open_font(content)["OS/2"].fsType
    except (TTLibError, KeyError, AssertionError) as error:
        problem = f"cannot be read as a font: {error}"
        raise UnusableInput([Finding(problem=problem, file=name, example=example)]) from None
    if rights & EMBEDDING == RESTRICTED:
        problem = "the licence of this font forbids embedding it in a document"
        raise UnusableInput([Finding(problem=problem, file=name, example=example)])


def _open_font(content: bytes) -> TTFont:
    from fontTools.ttLib import TTFont  # noqa: PLC0415 - heavy

    return TTFont(BytesIO(content), lazy=True, recalcTimestamp=False)


@cache
def font_faces(templates: Path | None = None) -> str:
    """Return the style rules with both weights embedded and with tabular figures.

    If each table asked for these figures, the PDF engine would leak a little memory for each piece
    of text.
    """
    return "".join(
        f'@font-face{{font-family:"{FAMILY}";font-weight:{weight};font-feature-settings:"tnum";'
        f'src:url("data:font/ttf;base64,{b64encode(font_file(weight, templates)).decode()}")}}'
        for weight in WEIGHTS
    )


@cache
def compact_font_faces(templates: Path | None = None) -> str:
    """Return the same for the care page: with compressed fonts (WOFF), half as long."""
    return "".join(
        f'@font-face{{font-family:"{FAMILY}";font-weight:{weight};font-display:block;'
        f'src:url("data:font/woff;base64,{b64encode(_compress(font_file(weight, templates))).decode()}")}}'
        for weight in WEIGHTS
    )


WESTERN = frozenset(
    (*range(0x20, 0x7F), *range(0xA0, 0x100), *range(0x2010, 0x2027), 0x20AC, 0x2122, 0x2264, 0x2265)
)
"""The characters of English and Spanish, and some of the neighbours'."""


@cache
def western_font(weight: int, templates: Path | None = None) -> bytes:
    """Return the font of a weight with western characters alone, compressed (WOFF): a third as long.

    A browser takes another font for a character that is not in it.
    """
    from fontTools.subset import Options, Subsetter  # noqa: PLC0415 - heavy

    font = _open_font(font_file(weight, templates))
    options = Options(hinting=False, layout_features=["kern", "tnum"], notdef_outline=True)
    subsetter = Subsetter(options)
    subsetter.populate(unicodes=WESTERN)
    subsetter.subset(font)
    font.flavor = "woff"
    packed = BytesIO()
    font.save(packed)
    return packed.getvalue()


def _compress(content: bytes) -> bytes:
    packed = BytesIO()
    font = _open_font(content)
    font.flavor = "woff"
    font.save(packed, reorderTables=None)
    return packed.getvalue()


@cache
def _drawn_characters(templates: Path | None) -> frozenset[int]:
    """Return the characters that both weights have."""
    maps = [_open_font(font_file(weight, templates)).getBestCmap() for weight in WEIGHTS]
    return frozenset(set.intersection(*(set(each) for each in maps))) | {ord("\n")}


def advance_widths(weight: int, templates: Path | None = None) -> dict[str, float]:
    """Return the width of each character of a weight, in em; each figure has that of the widest."""
    font = _open_font(font_file(weight, templates))
    units, advances = font["head"].unitsPerEm, font["hmtx"]
    widths = {chr(code): advances[name][0] / units for code, name in font.getBestCmap().items()}
    figure = max(widths.get(each, 0.0) for each in "0123456789")
    return {**widths, **dict.fromkeys("0123456789", figure)}


def replace_missing_glyphs(text: str, templates: Path | None = None) -> str:
    """Return a text with every character that the font lacks replaced by its nearest, or by "?".

    Otherwise the engine would use another font of the machine, and the same inputs would no longer give the
    same document.
    """
    drawn = _drawn_characters(templates)
    strange = {char for char in set(text) if ord(char) not in drawn}
    if not strange:
        return text
    return text.translate({ord(char): _nearest(char, drawn) for char in strange})


def _nearest(char: str, drawn: frozenset[int]) -> str:
    if unicodedata.category(char) in {"Cc", "Cf", "Zs", "Zl", "Zp"}:
        return " "
    plain = "".join(part for part in unicodedata.normalize("NFKD", char) if ord(part) in drawn)
    return plain or "?"
