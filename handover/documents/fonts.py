"""The face the documents are set in: shipped with its package under an open licence, never a system's."""

from __future__ import annotations

import unicodedata
from base64 import b64encode
from functools import cache
from importlib.resources import files

FAMILY = "Atkinson Hyperlegible"
PACKAGE = "fontpkg_atkinson_hyperlegible"
WEIGHTS = {400: "AtkinsonHyperlegible-Regular.ttf", 700: "AtkinsonHyperlegible-Bold.ttf"}


def font_file(weight: int) -> bytes:
    """Return the font of a weight, 400 or 700."""
    return files(PACKAGE).joinpath("files", WEIGHTS[weight]).read_bytes()


@cache
def font_faces() -> str:
    """Return the style rules that carry both weights within themselves."""
    return "".join(
        f'@font-face{{font-family:"{FAMILY}";font-weight:{weight};'
        f'src:url("data:font/ttf;base64,{b64encode(font_file(weight)).decode()}")}}'
        for weight in WEIGHTS
    )


@cache
def packed_font_faces() -> str:
    """Return the same for a page that is sent: the fonts packed (WOFF), half as long."""
    return "".join(
        f'@font-face{{font-family:"{FAMILY}";font-weight:{weight};font-display:block;'
        f'src:url("data:font/woff;base64,{b64encode(_packed(weight)).decode()}")}}'
        for weight in WEIGHTS
    )


def _packed(weight: int) -> bytes:
    from io import BytesIO  # noqa: PLC0415

    from fontTools.ttLib import TTFont  # noqa: PLC0415 - heavy

    packed = BytesIO()
    font = TTFont(BytesIO(font_file(weight)), lazy=True, recalcTimestamp=False)
    font.flavor = "woff"
    font.save(packed, reorderTables=None)
    return packed.getvalue()


@cache
def _drawn() -> frozenset[int]:
    """Return the characters that both weights can draw."""
    from io import BytesIO  # noqa: PLC0415

    from fontTools.ttLib import TTFont  # noqa: PLC0415 - heavy

    maps = [TTFont(BytesIO(font_file(weight)), lazy=True).getBestCmap() for weight in WEIGHTS]
    return frozenset(set.intersection(*(set(each) for each in maps))) | {ord("\n")}


def in_our_letters(text: str) -> str:
    """Return a text with every character that our font cannot draw replaced by its nearest, or by "?".

    Otherwise the engine would borrow the letter from whatever the machine has, and the same inputs would no
    longer give the same document.
    """
    drawn = _drawn()
    strange = {char for char in set(text) if ord(char) not in drawn}
    if not strange:
        return text
    return text.translate({ord(char): _nearest(char, drawn) for char in strange})


def _nearest(char: str, drawn: frozenset[int]) -> str:
    if unicodedata.category(char) in {"Cc", "Cf", "Zs", "Zl", "Zp"}:
        return " "
    plain = "".join(part for part in unicodedata.normalize("NFKD", char) if ord(part) in drawn)
    return plain or "?"
