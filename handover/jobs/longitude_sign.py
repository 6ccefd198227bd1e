"""A latitude or longitude without its minus sign: the place is in another part of the world, or at sea."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from handover.base.number_text import plain_spellings
from handover.errors import Finding
from handover.jobs.clock import find_zone, offset_then, zone_at
from handover.jobs.country_codes import countries, country_of_zone
from handover.units import system_of

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Mapping
    from datetime import datetime

    from handover.jobs.record import Draft
    from handover.jobs.source_map import Path

    Found = tuple[Path, Finding]

HOME_COUNTRY = "US"
"""The country where a postal code follows two letters, and slabs are measured in feet and inches."""

_STATE_AND_ZIP = re.compile(r"\b[A-Z]{2},? +\d{5}(?:-\d{4})?\b")
_SIGNS = {("longitude",): (1, -1), ("latitude",): (-1, 1), ("latitude", "longitude"): (-1, -1)}
"""The fields whose signs may be wrong, with the factors of latitude and longitude that correct them."""


@dataclass(frozen=True)
class _Evidence:
    """What a record says of its place apart from latitude and longitude.

    Attributes:
        reason: It in words, after "but".
        fits: Whether the time zone of a place on land agrees with it.
        is_enough: Whether it settles the matter where no place agrees with it.
    """

    reason: str
    fits: Callable[[str], bool]
    is_enough: bool = True


@dataclass(frozen=True)
class _OtherPlace:
    """The place with other signs: its fields as corrected, and its time zone; None at sea."""

    corrected: tuple[tuple[str, float], ...]
    zone: str | None

    @property
    def lines(self) -> str:
        """The lines to write in the record."""
        return "   and   ".join(f"{name} = {value}" for name, value in self.corrected)


def missing_minus_sign(written: Draft, raw: Mapping[str, Any]) -> Iterator[Found]:
    """Yield a caution where the place is elsewhere, but with another sign where the record says that it is.

    The record says so by its country, its time zone, the offsets of its times, the country in an address, or
    an address or units of the United States. Where it says nothing, a place at sea is asked about.

    Args:
        written: The record as far as it could be read, with its times as written.
        raw: The tables of the TOML or JSON file, for the units.
    """
    site = written.site
    if site is None or site.latitude is None or site.longitude is None:
        return
    here = zone_at(site.latitude, site.longitude)
    others = [*_other_places(site.latitude, site.longitude)]
    for evidence in _evidence(written, raw):
        if here is not None and evidence.fits(here):
            return
        for each in others:
            if each.zone is not None and evidence.fits(each.zone):
                yield _question(site, here, evidence.reason, each)
                return
        if evidence.is_enough:
            return
    on_land = [each for each in others if each.zone is not None]
    if here is None and on_land:
        fewest = min(len(each.corrected) for each in on_land)
        meant = [each for each in on_land if len(each.corrected) == fewest]
        yield _question(site, here, "on land with another sign", *meant)


def _other_places(latitude: float, longitude: float) -> Iterator[_OtherPlace]:
    for names, (north, east) in _SIGNS.items():
        place = {"latitude": latitude * north, "longitude": longitude * east}
        yield _OtherPlace(tuple((each, place[each]) for each in names), zone_at(**place))


def _question(site: Draft, here: str | None, reason: str, *meant: _OtherPlace) -> Found:
    """Return the question, under the last of the fields that may lack a sign."""
    fields = [name for name, _ in meant[0].corrected]
    return (
        ("site", fields[-1]),
        Finding(
            f"{getattr(site, fields[-1])} is {_where(here)}, but {reason}; is its sign right? "
            "A minus may be missing",
            expected="degrees; those south of the equator and west of Greenwich are negative",
            example="   or   ".join(each.lines for each in meant),
            severity="caution",
        ),
    )


def _where(zone: str | None) -> str:
    country = None if zone is None else country_of_zone(zone)
    if country is not None:
        return f"in {countries()[country]}"
    return "at sea" if zone is None else f"in the time zone {zone}"


# ---- what a record says of its place


def _evidence(written: Draft, raw: Mapping[str, Any]) -> Iterator[_Evidence]:
    """Yield what a record says of its place, the plainest first."""
    site = written.site
    start = written.placement.start if written.placement else None
    if site.country:
        yield _of_country(site.country, "the country of the record is")
    if site.timezone:
        if (country := country_of_zone(site.timezone)) is not None:
            yield _of_country(country, "the time zone of the record is that of", is_enough=start is None)
        zone = find_zone(site.timezone)
        if isinstance(zone, ZoneInfo) and start is not None:
            yield _of_clock(f"{site.timezone} has another time", zone, start)
    if start is not None and start.utcoffset():
        reason = f"{start.isoformat()} has the offset of another place"
        yield _Evidence(reason, lambda there: offset_then(ZoneInfo(there), start) == start.utcoffset())
    if (named := _country_in_address(written)) is not None:
        # A state or a town may have the name of a country.
        yield _of_country(named, "the address of the record is in", is_enough=False)
    if _reads_as_american(written, raw):
        yield _of_country(HOME_COUNTRY, "address or units are those of the")


def _of_country(code: str, reason: str, *, is_enough: bool = True) -> _Evidence:
    return _Evidence(f"{reason} {countries()[code]}", lambda zone: country_of_zone(zone) == code, is_enough)


def _of_clock(reason: str, zone: ZoneInfo, start: datetime) -> _Evidence:
    """Return that the clock of the place is that of a zone when the placement starts."""
    return _Evidence(reason, lambda there: offset_then(ZoneInfo(there), start) == offset_then(zone, start))


def _addresses(written: Draft) -> list[str]:
    parts = (written.site, written.contractor)
    return [part.address for part in parts if part and part.address]


def _country_in_address(written: Draft) -> str | None:
    """Return the country whose name is the last line, or the last part, of an address."""
    names = {name.casefold(): code for code, name in countries().items()}
    ends = (re.split(r"[\n,]", each.strip())[-1] for each in _addresses(written))
    return next((names[end] for each in ends if (end := each.strip(" .").casefold()) in names), None)


def _reads_as_american(written: Draft, raw: Mapping[str, Any]) -> bool:
    if any(map(_STATE_AND_ZIP.search, _addresses(written))):
        return True
    thickness = written.slab.thickness if written.slab else None
    if thickness is None:
        return False
    return system_of(plain_spellings(raw["slab"]["thickness"])[-1], "thickness") == "us"
