"""A latitude or longitude without its minus sign: the place is in another part of the world, or at sea."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any

from handover.base.number_text import plain_spellings
from handover.errors import Finding
from handover.jobs.clock import zone_at
from handover.jobs.country_codes import countries, country_of_zone
from handover.units import system_of

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from handover.jobs.record import Draft
    from handover.jobs.source_map import Path

    Found = tuple[Path, Finding]

HOME_COUNTRY = "US"
"""The country where a postal code follows two letters, and slabs are measured in feet and inches."""

_STATE_AND_ZIP = re.compile(r"\b[A-Z]{2},? +\d{5}(?:-\d{4})?\b")
_SIGNS = {("longitude",): (1, -1), ("latitude",): (-1, 1), ("latitude", "longitude"): (-1, -1)}
"""The fields whose signs may be wrong, with the factors of latitude and longitude that correct them."""


def missing_minus_sign(draft: Draft, raw: Mapping[str, Any]) -> Iterator[Found]:
    """Yield a caution where the place is elsewhere, but with another sign where the record says that it is.

    The record says so by its country or its time zone, else by an address or units of the United States.

    Args:
        draft: The record, as far as it could be read.
        raw: The tables of the TOML or JSON file, for the units.
    """
    site = draft.site
    if site is None or site.latitude is None or site.longitude is None:
        return
    country, reason = _country_of_record(draft, raw)
    there = _country(site.latitude, site.longitude)
    if country is None or there == country:
        return
    for fields, (north, east) in _SIGNS.items():
        place = {"latitude": site.latitude * north, "longitude": site.longitude * east}
        if _country(**place) != country:
            continue
        key = fields[-1]
        where = f"in {countries()[there]}" if there else "at sea"
        yield (
            ("site", key),
            Finding(
                f"{getattr(site, key)} is {where}, but {reason} {countries()[country]}; is its sign right? "
                "A minus may be missing",
                expected="degrees; those south of the equator and west of Greenwich are negative",
                example="   and   ".join(f"{each} = {place[each]}" for each in fields),
                severity="caution",
            ),
        )
        return


def _country(latitude: float, longitude: float) -> str | None:
    zone = zone_at(latitude, longitude)
    return country_of_zone(zone) if zone else None


def _country_of_record(draft: Draft, raw: Mapping[str, Any]) -> tuple[str | None, str]:
    """Return the country that a record speaks of apart from its place, or None, and what says so."""
    if draft.site.country:
        return draft.site.country, "the country of the record is"
    if draft.site.timezone and (country := country_of_zone(draft.site.timezone)):
        return country, "the time zone of the record is that of"
    if _reads_as_american(draft, raw):
        return HOME_COUNTRY, "address or units are those of the"
    return None, ""


def _reads_as_american(draft: Draft, raw: Mapping[str, Any]) -> bool:
    parts = (draft.site, draft.contractor)
    addresses = [part.address for part in parts if part and part.address]
    if any(map(_STATE_AND_ZIP.search, addresses)):
        return True
    thickness = draft.slab.thickness if draft.slab else None
    if thickness is None:
        return False
    return system_of(plain_spellings(raw["slab"]["thickness"])[-1], "thickness") == "us"
