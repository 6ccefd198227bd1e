"""The place in the address of a map, as a phone copies it: "https://maps.example/@36.10,-79.95,17z".

Sources: RFC 5870 (geo URI); the rest is common practice of maps on the web: a pair after "@", "!3d...!4d...",
a pair in the query, or zoom and pair after "#map=".
"""

from __future__ import annotations

import re
from urllib.parse import parse_qs, unquote, urlsplit

MAX_LINK = 2000
"""Characters of an address that are looked at."""

_NUMBER = r"[-+]?[0-9]{1,3}(?:\.[0-9]{1,17})?"
_PIN = re.compile(rf"!3d({_NUMBER})!4d({_NUMBER})")
_PAIR = re.compile(rf"(?:loc:)?\s*({_NUMBER})\s*,\s*({_NUMBER})")
_VIEW = re.compile(rf"/@({_NUMBER}),({_NUMBER})(?:,|$)")
_TILES = re.compile(rf"map=[0-9.]+/({_NUMBER})/({_NUMBER})")
_QUERY = ("q", "query", "ll", "coordinate", "destination", "daddr", "mlat", "center", "cp", "sll")
"""Names of the query that hold a place, that of a mark before that of the view."""

_LATITUDE, _LONGITUDE = 90.0, 180.0


def is_map_link(text: str) -> bool:
    """Return whether a text is an address of the web or of a map, and no coordinate."""
    return re.match(r"\s*(?:https?://|geo:)", text, re.IGNORECASE) is not None


def place_of_link(text: str) -> tuple[float, float] | None:
    """Return latitude and longitude in an address, in degrees; None where it holds no place.

    A short address holds none: only its server knows the place.
    """
    link = text.strip()[:MAX_LINK]
    if not is_map_link(link):
        return None
    if link.lower().startswith("geo:"):
        return _geo(link)
    try:
        parts = urlsplit(link)
    except ValueError:
        return None
    path = unquote(parts.path)
    found = (_PIN.search(path), *_of_query(parts.query), _VIEW.search(path), _TILES.search(parts.fragment))
    return next((place for each in found if each and (place := _place(*each.groups()))), None)


def _geo(link: str) -> tuple[float, float] | None:
    """Return the place of a geo URI; phones write "geo:0,0?q=36.1,-79.95" for a mark."""
    head, _, query = link[len("geo:") :].partition("?")
    marks = (_place(*each.groups()) for each in _of_query(query) if each)
    own = _PAIR.match(head)
    return next(filter(None, marks), None) or (_place(*own.groups()) if own else None)


def _of_query(query: str) -> list[re.Match[str] | None]:
    """Return the pairs in a query, in the order of `_QUERY`."""
    values = parse_qs(query, max_num_fields=50) if query.count("&") < 50 else {}  # noqa: PLR2004 - as many
    if "mlat" in values and "mlon" in values:
        values["mlat"] = [f"{values['mlat'][0]},{values['mlon'][0]}"]
    texts = (values[name][0].replace("~", ",") for name in _QUERY if name in values)
    return [_PAIR.match(each) for each in texts]


def _place(latitude: str, longitude: str) -> tuple[float, float] | None:
    """Return a place on the globe; None for 0, 0, which stands for no place."""
    pair = float(latitude), float(longitude)
    fits = abs(pair[0]) <= _LATITUDE and abs(pair[1]) <= _LONGITUDE
    return pair if fits and pair != (0.0, 0.0) else None
