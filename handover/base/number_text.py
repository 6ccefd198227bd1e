"""Numbers as people write them, with commas, points and spaces in them: every reading that a text can have.

A closed grammar of our own: a parser of one locale takes "3,500" for one number, and cannot say that it has
two readings; which of them is possible is known only where the limits of the value are.
"""

from __future__ import annotations

import re

_NUMERAL = re.compile(r"[0-9](?:[0-9.,]|[ \u00a0\u202f\u2009](?=[0-9]{3}(?![0-9])))*[0-9]|[0-9]")
_SPACES = re.compile(r"[ \u00a0\u202f\u2009]")
_GROUPS = re.compile(r"[1-9][0-9]{0,2}(?:,[0-9]{3})+(?:\.[0-9]+)?")
_DECIMAL = re.compile(r"[0-9]+(?:\.[0-9]+)?")


def plain_spellings(text: str) -> tuple[str, ...]:
    """Return a text with its first numeral written plainly, in every reading it can have, as written first.

    "3,500 psi" may be "3.500 psi" or "3500 psi"; "4,5 in" only "4.5 in"; "1.200,5 m" only "1200.5 m". A text
    without a comma, a group or a numeral is returned as it is.
    """
    found = _NUMERAL.search(text)
    if found is None:
        return (text,)
    numeral, rest = found[0], text[found.end() :]
    if re.search(r"[0-9]\s*,\s*[0-9]", rest):
        return (text,)
    readings = dict.fromkeys(_readings(numeral))
    return tuple(text[: found.start()] + each + rest for each in readings) or (text,)


def _readings(numeral: str) -> list[str]:
    """Return the plain numerals that a numeral can mean, a decimal before a group."""
    joined = _SPACES.sub("", numeral)
    if joined != numeral:
        groups = _SPACES.split(re.split("[.,]", numeral)[0])
        fits = len(groups[0]) <= 3 and groups[0] != "0" and all(len(each) == 3 for each in groups[1:])  # noqa: PLR2004
        plain = joined.replace(",", ".")
        return [plain] if fits and _DECIMAL.fullmatch(plain) else []
    swapped = numeral.translate(str.maketrans(",.", ".,"))
    readings = [each for each in (numeral, swapped) if _DECIMAL.fullmatch(each)]
    return readings + [each.replace(",", "") for each in (numeral, swapped) if _GROUPS.fullmatch(each)]
