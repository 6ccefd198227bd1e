"""The clock at the site: its time zone."""

from __future__ import annotations

import re
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo, available_timezones

from handover.base.text import quoted_text
from handover.errors import Finding


def find_zone(name: str) -> ZoneInfo | Finding:
    """Return the time zone of an IANA name, or a finding with the names most like it."""
    if not _outside_the_list(name):
        try:
            return ZoneInfo(name)
        except (KeyError, OSError, ValueError):  # unknown; a folder of zones; not a name at all
            pass
    return Finding(
        f"{quoted_text(name)} is not a time zone",
        expected="a region and a city with the same clock (a name from the IANA list), or the place instead",
        example=" or ".join(f'"{zone}"' for zone in _like(name)),
    )


def zone_at(latitude: float, longitude: float) -> str | None:
    """Return the name of the time zone of a place, or None at sea."""
    import tzfpy  # noqa: PLC0415  maps the world; slow to load

    name = tzfpy.get_tz(longitude, latitude)
    return None if not name or name.startswith("Etc/") else name


_USUAL_NAMES = {
    "eastern": "America/New_York",
    "est": "America/New_York",
    "edt": "America/New_York",
    "central": "America/Chicago",
    "cst": "America/Chicago",
    "cdt": "America/Chicago",
    "mountain": "America/Denver",
    "mst": "America/Denver",
    "mdt": "America/Denver",
    "pacific": "America/Los_Angeles",
    "pst": "America/Los_Angeles",
    "pdt": "America/Los_Angeles",
}
"""Usual names of time zones in the United States; only suggestions, as some have several zones."""


def offset_then(zone: ZoneInfo, instant: datetime) -> timedelta:
    """Return the zone's offset from UTC at an instant, or at a local time without an offset."""
    at = instant.astimezone(zone) if instant.tzinfo else instant.replace(tzinfo=zone)
    return at.utcoffset() or timedelta()


def _outside_the_list(name: str) -> bool:
    """Return whether a name leads to a file that depends on the machine, or counts leap seconds."""
    return (
        bool(re.match(r"(?i)(posix|right|localtime|factory|posixrules)(/|$)", name)) or not name.isprintable()
    )


def _like(name: str) -> list[str]:
    """Return the names most like this one by its last part, because people remember the city."""
    from difflib import get_close_matches  # noqa: PLC0415  only on the way to a finding

    if usual := _USUAL_NAMES.get(name.casefold().removesuffix(" time").removesuffix(" standard").strip()):
        return [usual]
    known = sorted((zone for zone in available_timezones() if not _outside_the_list(zone)), reverse=True)
    cities = {zone.rsplit("/", 1)[-1].casefold(): zone for zone in known}
    city = name[:60].replace(" ", "_").rsplit("/", 1)[-1].casefold()
    return [cities[each] for each in get_close_matches(city, list(cities), n=2)] or ["America/New_York"]
