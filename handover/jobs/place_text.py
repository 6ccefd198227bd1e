"""The place of a slab as maps show it: a pair or a link in one field, degrees with letters."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from handover.base.text import quoted_text
from handover.errors import Finding
from handover.jobs.map_links import is_map_link, place_of_link

if TYPE_CHECKING:
    from handover.jobs.source_map import Path

    Found = tuple[Path, Finding]

_NUMBER = r"[0-9]{1,3}(?:\.[0-9]{1,12})?"
_ONE = (
    rf"(?P<_sign>[-+\u2212])?\s*(?P<_degrees>{_NUMBER})\s*(?:°|º|deg)?\s*"
    rf"(?:(?P<_minutes>{_NUMBER})\s*['\u2032\u2019]\s*(?:(?P<_seconds>{_NUMBER})\s*(?:\"|''|\u2033|\u201d))?)?"
    r"\s*(?P<_side>[NSEW])?"
)
_FIRST, _SECOND = (_ONE.replace("<_", f"<{each}") for each in "ab")
_SINGLE = re.compile(_FIRST, re.IGNORECASE)
_PAIR = re.compile(
    rf"\(?\s*{_FIRST}\s*(?:[,;]|(?<=[NSEWnsew])\s|\s(?=[-+0-9])|(?<=[NSEWnsew]))\s*{_SECOND}\s*\)?",
    re.IGNORECASE,
)
_SPACED = re.compile(
    rf"(?P<alead>[NSEW])?\s*(?P<asign>[-+\u2212])?(?P<adegrees>{_NUMBER})(?:\s*[°º]\s*|\s+|(?=\s*[NSEW]?$))"
    rf"(?:(?P<aminutes>{_NUMBER})\s*['\u2032\u2019]?\s*"
    rf"(?:\s(?P<aseconds>{_NUMBER})\s*(?:\"|''|\u2033|\u201d)?)?)?\s*(?P<atrail>[NSEW])?",
    re.IGNORECASE,
)
"""Degrees with their letter first, or with spaces in place of signs: "N 30° 16.2'", "30 16 12 N"."""
_SIXTY = 60.0
_KEYS = ("latitude", "longitude")
_LIMITS = {"latitude": 90.0, "longitude": 180.0}


def spell_place(raw: Mapping[str, Any]) -> tuple[Mapping[str, Any], list[Found]]:
    """Return the tables of a record with latitude and longitude as numbers, and findings.

    A pair in one field fills both, unless the other one has another place. What is neither a pair nor a
    coordinate stays, for the reader of its field.
    """
    site = raw.get("site")
    if not isinstance(site, Mapping) or not any(isinstance(site.get(key), str) for key in _KEYS):
        return raw, []
    numbers = dict(site)
    for key in _KEYS:
        text = site.get(key)
        if not isinstance(text, str):
            continue
        if is_map_link(text) and place_of_link(text) is None:
            rest = {name: value for name, value in numbers.items() if name != key}
            return {**raw, "site": rest}, [_no_place(key, text)]
        if (pair := read_pair(text)) is not None:
            both = dict(zip(_KEYS, pair, strict=True))
            if any(_differs(site.get(each), both[each], pair) for each in _KEYS if each != key):
                return {**raw, "site": {k: v for k, v in numbers.items() if k not in _KEYS}}, [
                    _two(key, text, both)
                ]
            numbers |= both
        elif (value := _single(text, key)) is not None:
            numbers[key] = value
    return {**raw, "site": numbers}, []


def read_pair(text: str) -> tuple[float, float] | None:
    """Return latitude and longitude of a text with both, or None.

    Without letters latitude is first, as on every map, unless only the other order is a place.
    """
    if is_map_link(text):
        return place_of_link(text)
    found = _PAIR.fullmatch(text.strip()[:80].replace("\u00a0", " "))
    if found is None:
        return _pair_with_spaces(text)
    if not re.search(r"[.°º;NSEWnsew]|[,\s]\s*[-\u2212]", text):
        return None  # "30,27" may be a number with a decimal comma
    sides = [(found[f"{each}side"] or "").upper() for each in "ab"]
    one, other = (_value(found, *each) for each in zip("ab", sides, strict=True))
    if one is None or other is None or bool(sides[0]) != bool(sides[1]):
        return None
    if sides[0]:
        swapped = sides[0] in "EW"
        if (sides[1] in "EW") == swapped:
            return None
    else:
        swapped = abs(one) > _LIMITS["latitude"] >= abs(other)
    latitude, longitude = (other, one) if swapped else (one, other)
    fits = abs(latitude) <= _LIMITS["latitude"] and abs(longitude) <= _LIMITS["longitude"]
    return (latitude, longitude) if fits else None


def _pair_with_spaces(text: str) -> tuple[float, float] | None:
    """Return latitude and longitude of a text such as "N 30° 16.2', W 97° 44.4'", or None."""
    parts = re.split("[,;]", text.strip()[:80])
    if len(parts) != len(_KEYS):
        return None
    one, other = (_with_spaces(each.strip(), key) for each, key in zip(parts, _KEYS, strict=True))
    return None if one is None or other is None else (one, other)


def _single(text: str, key: str) -> float | None:
    """Return a coordinate with degrees or a letter, or None: the reader of the field reads plain numbers."""
    plain = text.strip()[:80]
    found = _SINGLE.fullmatch(plain)
    if found is None:
        return _with_spaces(plain, key)
    side = (found["aside"] or "").upper()
    value = _value(found, "a", side)
    return (
        value if value is not None and (not side or side in ("NS" if key == "latitude" else "EW")) else None
    )


def _with_spaces(text: str, key: str) -> float | None:
    """Return a coordinate with one letter of its side, first or last, or None."""
    found = _SPACED.fullmatch(text)
    if found is None or bool(found["alead"]) == bool(found["atrail"]):
        return None
    side = (found["alead"] or found["atrail"]).upper()
    return _value(found, "a", side) if side in ("NS" if key == "latitude" else "EW") else None


def _value(found: re.Match[str], prefix: str, side: str) -> float | None:
    """Return a coordinate in degrees, or None where sign and letter contradict one another."""
    minutes, seconds = (float(found[f"{prefix}{part}"] or 0) for part in ("minutes", "seconds"))
    negative = found[f"{prefix}sign"] in ("-", "\u2212")
    if minutes >= _SIXTY or seconds >= _SIXTY or (negative and side in ("N", "E")):
        return None
    value = float(found[f"{prefix}degrees"]) + minutes / _SIXTY + seconds / _SIXTY**2
    return -value if negative or side in ("S", "W") else value


def _differs(other: object, value: float, pair: tuple[float, float]) -> bool:
    """Return whether the other field has another place than the pair."""
    if other is None or other == value or (isinstance(other, str) and not other.strip()):
        return False
    return not (isinstance(other, str) and (read_pair(other) == pair or _number(other) == value))


def _number(text: str) -> float | None:
    try:
        return float(text)
    except ValueError:
        return None


def _no_place(key: str, text: str) -> Found:
    return (
        ("site", key),
        Finding(
            f"{quoted_text(text)} is an address that does not hold the place: only its server knows it",
            expected="both numbers: open the link, press and hold on the slab, copy the two numbers",
            example='latitude = "36.10, -79.95"',
        ),
    )


def _two(key: str, text: str, both: Mapping[str, float]) -> Found:
    return (
        ("site", key),
        Finding(
            f"{quoted_text(text)} is a whole place, and the other of latitude and longitude has another one",
            expected="the place in one of the two, and no other",
            example="   and   ".join(f"{each} = {both[each]:g}" for each in _KEYS),
        ),
    )
